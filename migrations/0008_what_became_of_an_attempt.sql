-- From an attempt to the plates and flasks it was on, and from a flask to its loads, whenever that
-- was: yields are told apart by them.
CREATE INDEX plate_pieces_by_attempt ON plate_pieces (attempt_id);
CREATE INDEX flask_pieces_by_attempt ON flask_pieces (attempt_id);
CREATE INDEX kiln_load_flasks_by_flask ON kiln_load_flasks (flask_id);
