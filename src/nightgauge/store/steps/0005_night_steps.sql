CREATE TABLE night_step (
    "step_id" BIGINT,
    "night_id" INTEGER,
    "step" VARCHAR,
    "started_utc" TIMESTAMP WITH TIME ZONE,
    "took_s" DOUBLE,
    "rows_in" BIGINT,
    "rows_out" BIGINT,
    "detail" VARCHAR
);
