CREATE TABLE bookmark (
    "name" VARCHAR,
    "at_utc" TIMESTAMP WITH TIME ZONE
);
