-- What clients ask on their page, and what the studio answers.
CREATE TABLE questions (
    id          uuid PRIMARY KEY,
    order_id    uuid NOT NULL REFERENCES orders,
    words       text NOT NULL CONSTRAINT questions_words CHECK (length(btrim(words)) BETWEEN 1 AND 4000),
    asked_at    timestamptz NOT NULL,
    -- Nothing for a question of the client; else the person who wrote.
    person_id   uuid REFERENCES people,
    -- When somebody of the studio dealt with it: answered, or marked as dealt with.
    settled_at  timestamptz
);
CREATE INDEX questions_by_order ON questions (order_id, asked_at);
CREATE INDEX questions_open ON questions (asked_at) WHERE settled_at IS NULL AND person_id IS NULL;

CREATE FUNCTION question_announced() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('changed', 'orders:' || (SELECT number FROM orders WHERE id = NEW.order_id));
    RETURN NULL;
END $$;
CREATE TRIGGER question_announced AFTER INSERT OR UPDATE ON questions
    FOR EACH ROW EXECUTE FUNCTION question_announced();
