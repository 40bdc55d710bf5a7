-- What the capacity of vessels, the price of back pressure and carryover, well tests and anodes need.

ALTER TABLE well_test ADD COLUMN "source" VARCHAR;
ALTER TABLE well_test ADD COLUMN "steady_utc" TIMESTAMP WITH TIME ZONE;
ALTER TABLE well_test ADD COLUMN "gas_m3_per_day" DOUBLE;
ALTER TABLE well_test ADD COLUMN "net_oil_m3_per_day" DOUBLE;
ALTER TABLE well_test ADD COLUMN "water_uncertainty_m3_per_day" DOUBLE;
ALTER TABLE well_test ADD COLUMN "oil_uncertainty_m3_per_day" DOUBLE;
ALTER TABLE well_test ADD COLUMN "net_oil_uncertainty_m3_per_day" DOUBLE;

CREATE TABLE vessel_capacity (
    "vessel" VARCHAR,
    "limit" VARCHAR,
    "phase" VARCHAR,
    "from_utc" TIMESTAMP WITH TIME ZONE,
    "until_utc" TIMESTAMP WITH TIME ZONE,
    "capacity_m3_per_day" DOUBLE,
    "median_load_m3_per_day" DOUBLE,
    "high_load_m3_per_day" DOUBLE,
    "worst_load_m3_per_day" DOUBLE,
    "worst_day" DATE,
    "used_fraction" DOUBLE,
    "binds" BOOLEAN,
    "basis" VARCHAR
);

CREATE TABLE back_pressure (
    "vessel" VARCHAR,
    "day" DATE,
    "held_kpag" DOUBLE,
    "needed_kpag" DOUBLE,
    "needed_by" VARCHAR,
    "excess_kpa" DOUBLE,
    "header_kpag" DOUBLE,
    "line_loss_kpa" DOUBLE,
    "droop_kpa_per_m3_per_day" DOUBLE,
    "wells" BIGINT,
    "wells_without_index" VARCHAR,
    "wells_without_water_cut" VARCHAR,
    "liquid_m3_per_day_per_kpa" DOUBLE,
    "oil_m3_per_day_per_kpa" DOUBLE,
    "liquid_loss_m3_per_day" DOUBLE,
    "oil_loss_m3_per_day" DOUBLE,
    "oil_loss_money" DOUBLE
);

CREATE TABLE carryover (
    "vessel" VARCHAR,
    "day" DATE,
    "water_with_oil_m3" DOUBLE,
    "temperature_c" DOUBLE,
    "oil_with_water_m3" DOUBLE,
    "heat_mj" DOUBLE,
    "fuel_mj" DOUBLE,
    "fuel_money" DOUBLE,
    "oil_money" DOUBLE
);

CREATE TABLE anode (
    "vessel" VARCHAR,
    "anode" VARCHAR,
    "material" VARCHAR,
    "until_utc" TIMESTAMP WITH TIME ZONE,
    "from_utc" TIMESTAMP WITH TIME ZONE,
    "first_mass_kg" DOUBLE,
    "charge_ah" DOUBLE,
    "mass_left_kg" DOUBLE,
    "left_fraction" DOUBLE,
    "current_a" DOUBLE,
    "life_left_days" DOUBLE,
    "shortest_life_days" DOUBLE,
    "longest_life_days" DOUBLE,
    "spent_on" DATE,
    "inspect_by" DATE,
    "basis" VARCHAR
);
