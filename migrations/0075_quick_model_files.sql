-- A model of a million facets is fifty megabytes. PostgreSQL's usual compression takes most of a
-- second over them while somebody waits for the model's price; lz4 takes a twentieth of that, and
-- less room. Where the server was built without it, files lie uncompressed. Files that are there
-- stay as they are and are read as before.
DO $$
BEGIN
    ALTER TABLE file_chunks ALTER COLUMN bytes SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
    ALTER TABLE file_chunks ALTER COLUMN bytes SET STORAGE EXTERNAL;
END
$$;
