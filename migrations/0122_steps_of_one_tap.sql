-- What was recorded for many castings by one tap is found, and taken back, by its moment.
CREATE INDEX bench_steps_at_finish ON bench_steps (at) WHERE stage = 'finish';
