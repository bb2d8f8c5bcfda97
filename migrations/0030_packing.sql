-- How a piece stands on its plate: the direction of its model that is above, turned about the
-- vertical, the box round it as it stands, and its outline from the corner of that box, in
-- millimetres. Empty for pieces set before outlines were packed; `turned` is no longer written.
ALTER TABLE plate_pieces
    ADD COLUMN up text NOT NULL DEFAULT '+z' CONSTRAINT plate_pieces_up CHECK (up IN ('+z', '-z', '+x', '-x', '+y', '-y')),
    ADD COLUMN turn_deg double precision NOT NULL DEFAULT 0,
    ADD COLUMN size_x_mm double precision,
    ADD COLUMN size_y_mm double precision,
    ADD COLUMN size_z_mm double precision,
    ADD COLUMN outline jsonb NOT NULL DEFAULT '[]';

-- Whether any side of a piece may be below, or pieces stand as they were drawn.
ALTER TABLE plates ADD COLUMN any_side boolean NOT NULL DEFAULT false;

-- The tree as it was arranged: its sprue and volumes. Null: arranged by hand alone.
ALTER TABLE flasks ADD COLUMN tree jsonb;

-- Where a piece hangs on its tree, and its outlines for the tree map. Null: placed by hand.
ALTER TABLE flask_pieces ADD COLUMN hung jsonb;

-- Channels that carry the vacuum along a solid wall; they touch the wall.
ALTER TABLE flask_types
    ADD COLUMN channels integer NOT NULL DEFAULT 0 CONSTRAINT flask_types_channels CHECK (channels BETWEEN 0 AND 24),
    ADD COLUMN channel_mm double precision NOT NULL DEFAULT 6 CONSTRAINT flask_types_channel CHECK (channel_mm BETWEEN 0.5 AND 50);
