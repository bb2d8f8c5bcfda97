-- What clients ask for.

CREATE SEQUENCE order_numbers START 1001;
CREATE SEQUENCE design_numbers START 301;

CREATE TABLE clients (
    id          uuid PRIMARY KEY,
    name        text NOT NULL CONSTRAINT clients_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 200),
    email       text NOT NULL DEFAULT '',
    phone       text NOT NULL DEFAULT '',
    address     text NOT NULL DEFAULT '',
    note        text NOT NULL DEFAULT '',
    archived_at timestamptz,
    created_at  timestamptz NOT NULL,
    version     bigint NOT NULL DEFAULT 1
);

CREATE TABLE designs (
    id         uuid PRIMARY KEY,
    number     integer NOT NULL DEFAULT nextval('design_numbers') CONSTRAINT designs_number_unique UNIQUE,
    name       text NOT NULL CONSTRAINT designs_name_given CHECK (length(btrim(name)) BETWEEN 1 AND 200),
    client_id  uuid REFERENCES clients,
    note       text NOT NULL DEFAULT '',
    archived_at timestamptz,
    created_at timestamptz NOT NULL,
    version    bigint NOT NULL DEFAULT 1
);

-- A model file as it came, and what was measured on it. Never edited, but for
-- the unit, which may have to be asked for.
CREATE TABLE design_versions (
    id          uuid PRIMARY KEY,
    design_id   uuid NOT NULL REFERENCES designs,
    n           integer NOT NULL,
    file_id     uuid NOT NULL REFERENCES files,
    file_name   text NOT NULL,
    unit        text CONSTRAINT design_versions_unit CHECK (unit IN ('micron', 'mm', 'cm', 'm', 'inch', 'foot')),
    unit_origin text NOT NULL CONSTRAINT design_versions_unit_origin CHECK (unit_origin IN ('file', 'guessed', 'told')),
    unit_reason text NOT NULL DEFAULT '',
    format      text NOT NULL,
    triangles   bigint NOT NULL CONSTRAINT design_versions_triangles CHECK (triangles > 0),
    shells      integer NOT NULL,
    closed      boolean NOT NULL,
    -- In millimetres of the unit above; null volume: the mesh is open.
    volume_mm3  double precision CONSTRAINT design_versions_volume CHECK (volume_mm3 > 0),
    area_mm2    double precision NOT NULL,
    box_x_mm    double precision NOT NULL,
    box_y_mm    double precision NOT NULL,
    box_z_mm    double precision NOT NULL,
    problems    jsonb NOT NULL DEFAULT '[]',
    footprint   jsonb NOT NULL DEFAULT '[]',
    picture_id  uuid REFERENCES files,
    measured_at timestamptz NOT NULL,
    added_by    uuid REFERENCES people,
    CONSTRAINT design_versions_numbered UNIQUE (design_id, n)
);

CREATE TABLE orders (
    id          uuid PRIMARY KEY,
    number      integer NOT NULL DEFAULT nextval('order_numbers') CONSTRAINT orders_number_unique UNIQUE,
    client_id   uuid NOT NULL REFERENCES clients,
    title       text NOT NULL CONSTRAINT orders_title_given CHECK (length(btrim(title)) BETWEEN 1 AND 200),
    state       text NOT NULL DEFAULT 'enquiry' CONSTRAINT orders_state_known
                CHECK (state IN ('enquiry', 'quoted', 'agreed', 'ready', 'handed_over', 'cancelled')),
    due_on      date,
    note        text NOT NULL DEFAULT '',
    created_at  timestamptz NOT NULL,
    agreed_at   timestamptz,
    closed_at   timestamptz,
    version     bigint NOT NULL DEFAULT 1
);
CREATE INDEX orders_by_client ON orders (client_id);
CREATE INDEX orders_open ON orders (due_on) WHERE state IN ('enquiry', 'quoted', 'agreed', 'ready');
CREATE TRIGGER orders_announced AFTER INSERT OR UPDATE ON orders
    FOR EACH ROW EXECUTE FUNCTION announce_change('number');

CREATE TABLE order_lines (
    id                uuid PRIMARY KEY,
    order_id          uuid NOT NULL REFERENCES orders,
    n                 integer NOT NULL,
    design_version_id uuid NOT NULL REFERENCES design_versions,
    alloy_id          uuid NOT NULL REFERENCES alloys,
    quantity          integer NOT NULL CONSTRAINT order_lines_quantity CHECK (quantity BETWEEN 1 AND 10000),
    finishing_minutes integer NOT NULL DEFAULT 0 CONSTRAINT order_lines_finishing CHECK (finishing_minutes BETWEEN 0 AND 10000),
    note              text NOT NULL DEFAULT '',
    removed_at        timestamptz,
    CONSTRAINT order_lines_numbered UNIQUE (order_id, n)
);

-- A version of a price for an order. What was sent never changes; a new price
-- is a new version.
CREATE TABLE quotes (
    id            uuid PRIMARY KEY,
    order_id      uuid NOT NULL REFERENCES orders,
    n             integer NOT NULL,
    state         text NOT NULL DEFAULT 'draft' CONSTRAINT quotes_state_known
                  CHECK (state IN ('draft', 'sent', 'accepted', 'declined', 'replaced')),
    currency      char(3) NOT NULL,
    net           numeric(18, 4) NOT NULL,
    tax           numeric(18, 4) NOT NULL,
    total         numeric(18, 4) NOT NULL,
    deposit       numeric(18, 4) NOT NULL,
    valid_until   date NOT NULL,
    ready_by      date,
    content       jsonb NOT NULL,
    message       text NOT NULL DEFAULT '',
    made_by       uuid REFERENCES people,
    made_at       timestamptz NOT NULL,
    sent_at       timestamptz,
    answered_at   timestamptz,
    answered_name text,
    answer      text NOT NULL DEFAULT '',
    -- Set when the order changed after the price was made.
    outdated_at timestamptz,
    CONSTRAINT quotes_numbered UNIQUE (order_id, n),
    CONSTRAINT quotes_total CHECK (total = net + tax),
    CONSTRAINT quotes_answer_named CHECK (state <> 'accepted' OR (answered_at IS NOT NULL AND answered_name IS NOT NULL))
);
CREATE UNIQUE INDEX quotes_one_accepted ON quotes (order_id) WHERE state = 'accepted';
CREATE UNIQUE INDEX quotes_one_draft ON quotes (order_id) WHERE state = 'draft';
CREATE UNIQUE INDEX quotes_one_sent ON quotes (order_id) WHERE state = 'sent';

-- A client's private page. The token in the address is an HMAC of this id.
CREATE TABLE client_links (
    id         uuid PRIMARY KEY,
    order_id   uuid NOT NULL REFERENCES orders,
    made_by    uuid REFERENCES people,
    made_at    timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    revoked_at timestamptz,
    opened_at  timestamptz
);
CREATE UNIQUE INDEX client_links_one_open ON client_links (order_id) WHERE revoked_at IS NULL;
