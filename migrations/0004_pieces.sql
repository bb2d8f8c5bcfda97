-- Pieces walk through six stages; what happened is kept as events, and what
-- follows from the events is kept beside them in the same transaction.

CREATE TABLE pieces (
    id            uuid PRIMARY KEY,
    order_id      uuid NOT NULL REFERENCES orders,
    order_line_id uuid NOT NULL REFERENCES order_lines,
    n             integer NOT NULL,
    label         text NOT NULL CONSTRAINT pieces_label_unique UNIQUE,
    attempt_n     integer NOT NULL DEFAULT 1 CONSTRAINT pieces_attempt CHECK (attempt_n >= 1),
    stage         stage NOT NULL DEFAULT 'print',
    standing      text NOT NULL DEFAULT 'waiting' CONSTRAINT pieces_standing_known
                  CHECK (standing IN ('waiting', 'in_hand', 'ready', 'handed_over', 'cancelled')),
    version       bigint NOT NULL DEFAULT 0,
    created_at    timestamptz NOT NULL,
    changed_at    timestamptz NOT NULL,
    CONSTRAINT pieces_numbered UNIQUE (order_id, n),
    CONSTRAINT pieces_ready_at_finish CHECK (standing NOT IN ('ready', 'handed_over') OR stage = 'finish')
);
COMMENT ON COLUMN pieces.version IS 'id of the last event; a form that has seen an older one is stale';
CREATE INDEX pieces_by_order ON pieces (order_id, n);
CREATE INDEX pieces_by_line ON pieces (order_line_id);
CREATE INDEX pieces_at_stage ON pieces (stage, standing, changed_at) WHERE standing IN ('waiting', 'in_hand');
CREATE INDEX pieces_by_change ON pieces (changed_at DESC, id);
CREATE TRIGGER pieces_announced AFTER INSERT OR UPDATE ON pieces
    FOR EACH ROW EXECUTE FUNCTION announce_change('label');

CREATE TABLE attempts (
    id        uuid PRIMARY KEY,
    piece_id  uuid NOT NULL REFERENCES pieces,
    n         integer NOT NULL CONSTRAINT attempts_n CHECK (n >= 1),
    begun_at  timestamptz NOT NULL,
    ended_at  timestamptz,
    outcome   text CONSTRAINT attempts_outcome CHECK (outcome IN ('good', 'failed', 'cancelled')),
    failed_at_stage stage,
    cause     text,
    CONSTRAINT attempts_ended CHECK ((ended_at IS NULL) = (outcome IS NULL)),
    CONSTRAINT attempts_cause CHECK (outcome IS DISTINCT FROM 'failed' OR (failed_at_stage IS NOT NULL AND cause IS NOT NULL))
);
-- An attempt that was queued by mistake and taken back keeps its row, not its number.
CREATE UNIQUE INDEX attempts_numbered ON attempts (piece_id, n) WHERE outcome IS DISTINCT FROM 'cancelled';
CREATE UNIQUE INDEX attempts_one_open ON attempts (piece_id) WHERE ended_at IS NULL;

CREATE TABLE piece_events (
    id         bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    piece_id   uuid NOT NULL REFERENCES pieces,
    attempt_id uuid NOT NULL REFERENCES attempts,
    kind       text NOT NULL CONSTRAINT piece_events_kind_known
               CHECK (kind IN ('queued', 'entered', 'left', 'finished', 'failed', 'handed_over', 'cancelled', 'noted', 'undone')),
    stage      stage NOT NULL,
    at         timestamptz NOT NULL,
    person_id  uuid REFERENCES people,
    -- The batch it happened in, such as "plate:17" or "flask:214".
    batch      text,
    cause      text,
    note       text NOT NULL DEFAULT '',
    detail     jsonb NOT NULL DEFAULT '{}',
    undoes     bigint REFERENCES piece_events,
    CONSTRAINT piece_events_cause CHECK (kind <> 'failed' OR cause IS NOT NULL),
    CONSTRAINT piece_events_undoes CHECK ((kind = 'undone') = (undoes IS NOT NULL)),
    CONSTRAINT piece_events_undone_once UNIQUE (undoes)
);
COMMENT ON COLUMN piece_events.kind IS 'left: taken out of a batch before it was finished; finished: the stage is done';
CREATE INDEX piece_events_by_piece ON piece_events (piece_id, id);
CREATE INDEX piece_events_by_attempt ON piece_events (attempt_id, id);
CREATE INDEX piece_events_failures ON piece_events (stage, at) WHERE kind = 'failed';
CREATE INDEX piece_events_by_batch ON piece_events (batch) WHERE batch IS NOT NULL;
CREATE TRIGGER piece_events_append_only BEFORE UPDATE OR DELETE ON piece_events
    FOR EACH ROW EXECUTE FUNCTION refuse_change();

-- The six boxes of a route card, derived from the events.
CREATE TABLE attempt_stages (
    attempt_id  uuid NOT NULL REFERENCES attempts,
    stage       stage NOT NULL,
    entered_at  timestamptz,
    finished_at timestamptz,
    failed_at   timestamptz,
    batch       text,
    PRIMARY KEY (attempt_id, stage)
);

CREATE TABLE photos (
    id        uuid PRIMARY KEY,
    piece_id  uuid NOT NULL REFERENCES pieces,
    file_id   uuid NOT NULL REFERENCES files,
    stage     stage NOT NULL,
    caption   text NOT NULL DEFAULT '',
    shared    boolean NOT NULL DEFAULT false,
    taken_at  timestamptz NOT NULL,
    person_id uuid REFERENCES people
);
CREATE INDEX photos_by_piece ON photos (piece_id);

-- The words offered for a failure at a stage.
CREATE TABLE causes (
    stage stage NOT NULL,
    name  text NOT NULL,
    n     integer NOT NULL DEFAULT 0,
    PRIMARY KEY (stage, name)
);
