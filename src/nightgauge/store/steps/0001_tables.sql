-- Every table as of the first release. Never edited: a later change is a later step.

CREATE TYPE flag AS ENUM ('good', 'uncertain', 'bad');

CREATE TABLE sample (
    "tag_id" INTEGER,
    "time_utc" TIMESTAMP WITH TIME ZONE,
    "value" DOUBLE,
    "text_value" VARCHAR,
    "flag" flag,
    "file_id" INTEGER
);

CREATE TABLE quarantine (
    "file_id" INTEGER,
    "row_number" BIGINT,
    "rows" BIGINT,
    "reason" VARCHAR,
    "raw_text" VARCHAR,
    "tag" VARCHAR,
    "reread_utc" TIMESTAMP WITH TIME ZONE,
    "superseded_utc" TIMESTAMP WITH TIME ZONE
);

CREATE TABLE source_file (
    "file_id" INTEGER,
    "path" VARCHAR,
    "sha256" VARCHAR,
    "state" VARCHAR,
    "reason" VARCHAR,
    "rows_read" BIGINT,
    "rows_stored" BIGINT,
    "rows_repeated" BIGINT,
    "rows_replaced" BIGINT,
    "rows_overwrote" BIGINT,
    "rows_quarantined" BIGINT,
    "rows_ignored" BIGINT,
    "rows_uncertain" BIGINT,
    "rows_assumed_first" BIGINT,
    "first_utc" TIMESTAMP WITH TIME ZONE,
    "last_utc" TIMESTAMP WITH TIME ZONE,
    "read_at_utc" TIMESTAMP WITH TIME ZONE,
    "size_bytes" BIGINT,
    "modified_utc" TIMESTAMP WITH TIME ZONE
);

CREATE TABLE tag (
    "tag_id" INTEGER,
    "tag" VARCHAR,
    "vessel" VARCHAR,
    "signal" VARCHAR,
    "unit" VARCHAR,
    "factor" DOUBLE,
    "constant" DOUBLE,
    "states" VARCHAR,
    "from_utc" TIMESTAMP WITH TIME ZONE,
    "to_utc" TIMESTAMP WITH TIME ZONE,
    "max_gap_s" DOUBLE,
    "removed_utc" TIMESTAMP WITH TIME ZONE
);

CREATE TABLE dump_cycle (
    "vessel" VARCHAR,
    "opened_utc" TIMESTAMP WITH TIME ZONE,
    "shut_utc" TIMESTAMP WITH TIME ZONE,
    "opening_level_m" DOUBLE,
    "closing_level_m" DOUBLE,
    "volume_geometry_m3" DOUBLE,
    "volume_meter_m3" DOUBLE,
    "fill_s" DOUBLE,
    "drain_s" DOUBLE,
    "inflow_m3_per_day" DOUBLE,
    "cv_effective" DOUBLE,
    "evidence" VARCHAR,
    "pressure_kpag" DOUBLE,
    "pressure_sag_kpa" DOUBLE,
    "leak_m3" DOUBLE,
    "lowest_level_m" DOUBLE,
    "well_on_test" VARCHAR
);

CREATE TABLE vessel_hour (
    "vessel" VARCHAR,
    "hour_utc" TIMESTAMP WITH TIME ZONE,
    "dumps" BIGINT,
    "open_s" DOUBLE,
    "water_m3" DOUBLE,
    "oil_m3" DOUBLE,
    "gas_m3" DOUBLE,
    "water_load_m3_per_day" DOUBLE,
    "oil_load_m3_per_day" DOUBLE,
    "water_retention_min" DOUBLE,
    "oil_retention_min" DOUBLE,
    "water_required_min" DOUBLE,
    "oil_required_min" DOUBLE,
    "gas_load_fraction" DOUBLE,
    "oil_hold_kpag" DOUBLE,
    "gas_clip_kpag" DOUBLE,
    "water_in_oil_fraction" DOUBLE,
    "oil_in_water_mg_l" DOUBLE,
    "scrubber_dumps" BIGINT,
    "scrubber_dumps_per_1000m3_gas" DOUBLE,
    "pressure_sag_kpa" DOUBLE,
    "spill_s" DOUBLE,
    "coverage" DOUBLE,
    "leak_m3" DOUBLE,
    "shut_s" DOUBLE,
    "above_opening_s" DOUBLE,
    "below_closing_s" DOUBLE,
    "well_on_test" VARCHAR,
    "coverage_vessel_pressure" DOUBLE,
    "coverage_inlet_pressure" DOUBLE,
    "coverage_water_downstream_pressure" DOUBLE,
    "coverage_oil_downstream_pressure" DOUBLE,
    "coverage_interface_level" DOUBLE,
    "coverage_oil_level" DOUBLE,
    "coverage_water_dump_open" DOUBLE,
    "coverage_oil_dump_open" DOUBLE,
    "coverage_water_dump_position" DOUBLE,
    "coverage_oil_valve_position" DOUBLE,
    "coverage_gas_valve_position" DOUBLE,
    "coverage_water_rate" DOUBLE,
    "coverage_oil_rate" DOUBLE,
    "coverage_water_total" DOUBLE,
    "coverage_oil_total" DOUBLE,
    "coverage_gas_rate" DOUBLE,
    "coverage_oil_water_cut" DOUBLE,
    "coverage_water_oil_content" DOUBLE,
    "coverage_temperature" DOUBLE,
    "coverage_scrubber_level" DOUBLE,
    "coverage_scrubber_dump_open" DOUBLE,
    "coverage_well_on_test" DOUBLE,
    "coverage_anode_current" DOUBLE
);

CREATE TABLE vessel_day (
    "vessel" VARCHAR,
    "day" DATE,
    "dumps" BIGINT,
    "open_s" DOUBLE,
    "water_m3" DOUBLE,
    "oil_m3" DOUBLE,
    "gas_m3" DOUBLE,
    "water_load_m3_per_day" DOUBLE,
    "oil_load_m3_per_day" DOUBLE,
    "water_retention_min" DOUBLE,
    "oil_retention_min" DOUBLE,
    "water_required_min" DOUBLE,
    "oil_required_min" DOUBLE,
    "gas_load_fraction" DOUBLE,
    "oil_hold_kpag" DOUBLE,
    "gas_clip_kpag" DOUBLE,
    "water_in_oil_fraction" DOUBLE,
    "oil_in_water_mg_l" DOUBLE,
    "scrubber_dumps" BIGINT,
    "scrubber_dumps_per_1000m3_gas" DOUBLE,
    "pressure_sag_kpa" DOUBLE,
    "spill_s" DOUBLE,
    "coverage" DOUBLE,
    "leak_m3" DOUBLE,
    "shut_s" DOUBLE,
    "above_opening_s" DOUBLE,
    "below_closing_s" DOUBLE,
    "well_on_test" VARCHAR,
    "coverage_vessel_pressure" DOUBLE,
    "coverage_inlet_pressure" DOUBLE,
    "coverage_water_downstream_pressure" DOUBLE,
    "coverage_oil_downstream_pressure" DOUBLE,
    "coverage_interface_level" DOUBLE,
    "coverage_oil_level" DOUBLE,
    "coverage_water_dump_open" DOUBLE,
    "coverage_oil_dump_open" DOUBLE,
    "coverage_water_dump_position" DOUBLE,
    "coverage_oil_valve_position" DOUBLE,
    "coverage_gas_valve_position" DOUBLE,
    "coverage_water_rate" DOUBLE,
    "coverage_oil_rate" DOUBLE,
    "coverage_water_total" DOUBLE,
    "coverage_oil_total" DOUBLE,
    "coverage_gas_rate" DOUBLE,
    "coverage_oil_water_cut" DOUBLE,
    "coverage_water_oil_content" DOUBLE,
    "coverage_temperature" DOUBLE,
    "coverage_scrubber_level" DOUBLE,
    "coverage_scrubber_dump_open" DOUBLE,
    "coverage_well_on_test" DOUBLE,
    "coverage_anode_current" DOUBLE,
    "water_short_h" DOUBLE,
    "oil_short_h" DOUBLE,
    "inflow_h" DOUBLE,
    "held_interface_m" DOUBLE,
    "opening_level_m" DOUBLE,
    "closing_level_m" DOUBLE,
    "cv_effective" DOUBLE,
    "oil_droop_kpa_per_m3_per_day" DOUBLE,
    "gas_droop_kpa_per_m3_per_day" DOUBLE
);

CREATE TABLE signal_hour (
    "vessel" VARCHAR,
    "signal" VARCHAR,
    "hour_utc" TIMESTAMP WITH TIME ZONE,
    "coverage" DOUBLE,
    "samples" BIGINT,
    "bad_samples" BIGINT,
    "changes" BIGINT,
    "still_s" DOUBLE,
    "first" DOUBLE,
    "last" DOUBLE,
    "mean" DOUBLE,
    "minimum" DOUBLE,
    "maximum" DOUBLE,
    "p10" DOUBLE,
    "p90" DOUBLE,
    "deviation" DOUBLE,
    "swing" DOUBLE,
    "swing_period_s" DOUBLE,
    "swing_regularity" DOUBLE,
    "net_change" DOUBLE
);

CREATE TABLE well_test (
    "well" VARCHAR,
    "vessel" VARCHAR,
    "start_utc" TIMESTAMP WITH TIME ZONE,
    "end_utc" TIMESTAMP WITH TIME ZONE,
    "water_m3_per_day" DOUBLE,
    "oil_m3_per_day" DOUBLE,
    "water_cut_fraction" DOUBLE,
    "state" VARCHAR,
    "reason" VARCHAR
);

CREATE TABLE finding (
    "id" VARCHAR,
    "vessel" VARCHAR,
    "element" VARCHAR,
    "kind" VARCHAR,
    "failure_mode" VARCHAR,
    "priority" VARCHAR,
    "confidence" DOUBLE,
    "state" VARCHAR,
    "mark" VARCHAR,
    "onset" TIMESTAMP WITH TIME ZONE,
    "first_reported" TIMESTAMP WITH TIME ZONE,
    "last_seen" TIMESTAMP WITH TIME ZONE,
    "cleared_at" TIMESTAMP WITH TIME ZONE,
    "summary" VARCHAR,
    "evidence" VARCHAR,
    "instead" VARCHAR,
    "checks" VARCHAR,
    "effect" VARCHAR,
    "severity" DOUBLE,
    "quiet_nights" BIGINT,
    "also" VARCHAR,
    "last_night" TIMESTAMP WITH TIME ZONE
);

CREATE TABLE finding_event (
    "finding_id" VARCHAR,
    "at_utc" TIMESTAMP WITH TIME ZONE,
    "event" VARCHAR,
    "detail" VARCHAR
);

CREATE TABLE night (
    "night_id" INTEGER,
    "until_utc" TIMESTAMP WITH TIME ZONE,
    "started_utc" TIMESTAMP WITH TIME ZONE,
    "ended_utc" TIMESTAMP WITH TIME ZONE,
    "state" VARCHAR,
    "detail" VARCHAR
);

CREATE TABLE changed_range (
    "vessel" VARCHAR,
    "from_utc" TIMESTAMP WITH TIME ZONE,
    "to_utc" TIMESTAMP WITH TIME ZONE
);

CREATE TABLE file_tag (
    "file_id" INTEGER,
    "tag" VARCHAR,
    "rows" BIGINT,
    "reread_owed" BOOLEAN
);

CREATE TABLE vessel_setup (
    "vessel" VARCHAR,
    "part" VARCHAR,
    "valid_from_utc" TIMESTAMP WITH TIME ZONE,
    "valid_to_utc" TIMESTAMP WITH TIME ZONE,
    "digest" VARCHAR
);

CREATE TABLE field_setting (
    "name" VARCHAR,
    "value" VARCHAR
);
