-- What a plan that was made by itself gives those it was made for, and what could not be taken
-- into a plan as it is: lists of sentences.
ALTER TABLE plans
    ADD COLUMN gains jsonb NOT NULL DEFAULT '[]',
    ADD COLUMN notes jsonb NOT NULL DEFAULT '[]';
