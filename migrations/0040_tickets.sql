-- The short private address printed on a ticket: /t/ and eight letters or digits of
-- Crockford's base 32, which leaves out I, L, O and U. It leads nowhere without signing in.
CREATE TABLE tickets (
    code    text PRIMARY KEY CONSTRAINT tickets_code_plain CHECK (code ~ '^[0-9A-HJKMNP-TV-Z]{8}$'),
    -- What it is tied to: "piece:1042-3", "plate:41", "cure:31", "flask:201", "load:81".
    subject text NOT NULL CONSTRAINT tickets_subject_unique UNIQUE,
    made_at timestamptz NOT NULL
);

-- What is open is looked at from the bench all day; what is over only piles up.
CREATE INDEX plates_open ON plates (state) WHERE state IN ('open', 'printing');
CREATE INDEX cure_batches_open ON cure_batches (state) WHERE state IN ('open', 'washing', 'curing');
CREATE INDEX kiln_loads_open ON kiln_loads (state) WHERE state IN ('planned', 'burning', 'held');
