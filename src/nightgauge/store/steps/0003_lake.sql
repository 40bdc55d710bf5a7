CREATE TABLE lake_group (
    "tag_id" INTEGER,
    "vessel" VARCHAR,
    "group_number" INTEGER
);

CREATE TABLE lake_part (
    "part_id" INTEGER,
    "group_number" INTEGER,
    "day" DATE,
    "name" VARCHAR,
    "rows" BIGINT,
    "size_bytes" BIGINT
);

CREATE TABLE lake_part_tag (
    "part_id" INTEGER,
    "tag_id" INTEGER,
    "rows" BIGINT,
    "bad_rows" BIGINT,
    "first_utc" TIMESTAMP WITH TIME ZONE,
    "last_utc" TIMESTAMP WITH TIME ZONE
);
