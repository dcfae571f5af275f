-- Schema 1 of the book, frozen.
CREATE TABLE book_schema (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  schema INTEGER NOT NULL,
  at DATETIME NOT NULL,
  release TEXT NOT NULL,
  UNIQUE (schema)
);
CREATE TABLE changes (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  at DATETIME NOT NULL,
  who TEXT NOT NULL,
  why TEXT NOT NULL,
  undoes INTEGER
);
CREATE TABLE derived (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  kind TEXT NOT NULL,
  input_hash TEXT NOT NULL,
  about TEXT NOT NULL,
  made_at DATETIME NOT NULL,
  body TEXT NOT NULL,
  UNIQUE (kind, input_hash)
);
CREATE TABLE farm (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  name TEXT NOT NULL,
  profile TEXT NOT NULL,
  UNIQUE ("key")
);
CREATE TABLE fields (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  name TEXT NOT NULL,
  frame_lon_deg DOUBLE NOT NULL,
  frame_lat_deg DOUBLE NOT NULL,
  frame_height_m DOUBLE NOT NULL,
  outline_m BLOB NOT NULL,
  area_m2 DOUBLE NOT NULL,
  geodesic_m2 DOUBLE NOT NULL,
  crs TEXT NOT NULL,
  file_hash TEXT NOT NULL,
  geom MULTIPOLYGON,
  UNIQUE ("key")
);
CREATE TABLE imported_entries (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  kind TEXT NOT NULL,
  source TEXT NOT NULL,
  at DATETIME,
  UNIQUE ("key")
);
CREATE TABLE originals (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  name TEXT NOT NULL,
  size_bytes INTEGER NOT NULL,
  at DATETIME,
  UNIQUE ("key")
);
CREATE TABLE outfits (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  name TEXT NOT NULL,
  drive TEXT NOT NULL,
  speed_source TEXT NOT NULL,
  rows INTEGER,
  row_spacing_m DOUBLE,
  spread_m DOUBLE,
  opener TEXT NOT NULL,
  widths_true_m DOUBLE,
  widths_true_m_sd DOUBLE,
  widths_true_m_basis TEXT,
  widths_true_m_source TEXT,
  widths_rate_m DOUBLE,
  widths_guidance_m DOUBLE,
  speed_m_s DOUBLE,
  pulse_m DOUBLE,
  pulse_m_sd DOUBLE,
  pulse_m_basis TEXT,
  pulse_m_source TEXT,
  wheel_m DOUBLE,
  turn_radius_m DOUBLE,
  antenna_ahead_m DOUBLE NOT NULL,
  overlap_low DOUBLE NOT NULL,
  overlap_high DOUBLE NOT NULL,
  UNIQUE ("key")
);
CREATE TABLE products (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  crop TEXT NOT NULL,
  density_kg_m3 DOUBLE,
  density_kg_m3_sd DOUBLE,
  density_kg_m3_basis TEXT,
  density_kg_m3_source TEXT,
  price_kg DOUBLE,
  form TEXT NOT NULL,
  UNIQUE ("key")
);
CREATE TABLE settings (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  value TEXT NOT NULL,
  UNIQUE ("key")
);
CREATE TABLE step_states (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  state TEXT NOT NULL,
  at DATETIME,
  until DATETIME,
  "by" TEXT NOT NULL,
  note TEXT NOT NULL,
  UNIQUE ("key")
);
CREATE TABLE field_entries (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  field TEXT NOT NULL,
  position INTEGER NOT NULL,
  x_m DOUBLE NOT NULL,
  y_m DOUBLE NOT NULL,
  geom POINT,
  UNIQUE (field, position),
  FOREIGN KEY(field) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE field_fill_points (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  field TEXT NOT NULL,
  position INTEGER NOT NULL,
  x_m DOUBLE NOT NULL,
  y_m DOUBLE NOT NULL,
  geom POINT,
  UNIQUE (field, position),
  FOREIGN KEY(field) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE field_hazards (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  field TEXT NOT NULL,
  position INTEGER NOT NULL,
  kind TEXT NOT NULL,
  note TEXT NOT NULL,
  x_m DOUBLE NOT NULL,
  y_m DOUBLE NOT NULL,
  geom POINT,
  UNIQUE (field, position),
  FOREIGN KEY(field) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE field_obstacles (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  field TEXT NOT NULL,
  position INTEGER NOT NULL,
  outline_m BLOB NOT NULL,
  geom POLYGON,
  UNIQUE (field, position),
  FOREIGN KEY(field) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE field_repairs (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  field TEXT NOT NULL,
  position INTEGER NOT NULL,
  value TEXT NOT NULL,
  UNIQUE (field, position),
  FOREIGN KEY(field) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE history (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  change INTEGER NOT NULL,
  kind TEXT NOT NULL,
  "key" TEXT NOT NULL,
  table_name TEXT NOT NULL,
  row_key TEXT NOT NULL,
  field TEXT NOT NULL,
  "before" TEXT,
  "after" TEXT,
  FOREIGN KEY(change) REFERENCES changes (fid)
);
CREATE INDEX history_of_change ON history (change);
CREATE INDEX history_of_thing ON history (kind, "key");
CREATE TABLE jobs (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  crop TEXT NOT NULL,
  season INTEGER NOT NULL,
  field_key TEXT,
  outfit TEXT,
  area_ha DOUBLE,
  target_plants_m2 DOUBLE,
  survival DOUBLE,
  depth_m DOUBLE,
  texture TEXT NOT NULL,
  moisture TEXT NOT NULL,
  guideline TEXT NOT NULL,
  speed_m_s DOUBLE,
  headland_rounds INTEGER NOT NULL,
  direction_deg DOUBLE,
  finish_by TEXT NOT NULL,
  variety TEXT NOT NULL,
  notes TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(field_key) REFERENCES fields ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE lots (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  product TEXT NOT NULL,
  label TEXT NOT NULL,
  tkw_g DOUBLE,
  tkw_g_sd DOUBLE,
  tkw_g_basis TEXT,
  tkw_g_source TEXT,
  germination DOUBLE,
  germination_sd DOUBLE,
  germination_basis TEXT,
  germination_source TEXT,
  density_kg_m3 DOUBLE,
  density_kg_m3_sd DOUBLE,
  density_kg_m3_basis TEXT,
  density_kg_m3_source TEXT,
  treatment TEXT NOT NULL,
  treated_at TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_bins (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  letter TEXT NOT NULL,
  label TEXT NOT NULL,
  place TEXT NOT NULL,
  capacity_m3 DOUBLE,
  capacity_m3_sd DOUBLE,
  capacity_m3_basis TEXT,
  capacity_m3_source TEXT,
  fill_share DOUBLE NOT NULL,
  stream TEXT,
  meter_roller TEXT NOT NULL,
  meter_setting TEXT NOT NULL,
  meter_segments INTEGER,
  meter_feeding_m DOUBLE,
  meter_litres_turn DOUBLE,
  meter_litres_turn_sd DOUBLE,
  meter_litres_turn_basis TEXT,
  meter_litres_turn_source TEXT,
  meter_steady_low_turns_s DOUBLE,
  meter_steady_high_turns_s DOUBLE,
  low_light_kg DOUBLE,
  low_light_kg_sd DOUBLE,
  low_light_kg_basis TEXT,
  low_light_kg_source TEXT,
  has_scale BOOLEAN NOT NULL,
  UNIQUE (outfit, letter),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_heads (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  letter TEXT NOT NULL,
  outlets INTEGER NOT NULL,
  stream TEXT,
  segment INTEGER,
  primary_m DOUBLE,
  UNIQUE (outfit, letter),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_runs (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  number INTEGER NOT NULL,
  head TEXT NOT NULL,
  outlet INTEGER NOT NULL,
  offset_m DOUBLE NOT NULL,
  rank INTEGER NOT NULL,
  hose_m DOUBLE,
  sensor INTEGER,
  shut BOOLEAN NOT NULL,
  UNIQUE (outfit, number),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_sections (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  number INTEGER NOT NULL,
  left_m DOUBLE NOT NULL,
  right_m DOUBLE NOT NULL,
  UNIQUE (outfit, number),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_sensor_streams (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  value TEXT NOT NULL,
  UNIQUE (outfit, position),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE outfit_streams (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  outfit TEXT NOT NULL,
  position INTEGER NOT NULL,
  stream TEXT NOT NULL,
  placement TEXT,
  label TEXT NOT NULL,
  UNIQUE (outfit, stream),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE product_nutrients (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  product TEXT NOT NULL,
  name TEXT NOT NULL,
  value DOUBLE NOT NULL,
  UNIQUE (product, name),
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE catch_tests (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  outfit TEXT NOT NULL,
  bin TEXT NOT NULL,
  product TEXT NOT NULL,
  turns DOUBLE,
  shown_kg DOUBLE,
  share DOUBLE NOT NULL,
  tare_kg DOUBLE NOT NULL,
  scale_division_kg DOUBLE NOT NULL,
  lot TEXT,
  setting TEXT NOT NULL,
  factor DOUBLE,
  factor_sd DOUBLE,
  factor_basis TEXT,
  factor_source TEXT,
  at DATETIME,
  "by" TEXT NOT NULL,
  note TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(lot) REFERENCES lots ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE job_asks (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  job TEXT NOT NULL,
  position INTEGER NOT NULL,
  product TEXT NOT NULL,
  rate_kg_ha DOUBLE NOT NULL,
  second_rate_kg_ha DOUBLE,
  lot TEXT,
  UNIQUE (job, position),
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(lot) REFERENCES lots ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE job_events (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  job TEXT NOT NULL,
  at_s DOUBLE NOT NULL,
  bin TEXT NOT NULL,
  kind TEXT NOT NULL,
  value DOUBLE NOT NULL,
  sd DOUBLE NOT NULL,
  at DATETIME,
  "by" TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE job_extra (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  job TEXT NOT NULL,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  UNIQUE (job, name),
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE loads (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  kind TEXT NOT NULL,
  product TEXT NOT NULL,
  lot TEXT,
  mass_kg DOUBLE,
  sd_kg DOUBLE,
  how TEXT NOT NULL,
  from_key TEXT NOT NULL,
  to_key TEXT NOT NULL,
  part_of TEXT,
  ticket TEXT NOT NULL,
  at DATETIME,
  UNIQUE ("key"),
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(lot) REFERENCES lots ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(part_of) REFERENCES loads ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE meter_factors (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  outfit TEXT NOT NULL,
  bin TEXT NOT NULL,
  product TEXT NOT NULL,
  lot TEXT,
  setting TEXT NOT NULL,
  kg_turn DOUBLE,
  kg_turn_sd DOUBLE,
  kg_turn_basis TEXT,
  kg_turn_source TEXT,
  at DATETIME,
  how TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(lot) REFERENCES lots ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE readings (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  job TEXT NOT NULL,
  quantity TEXT NOT NULL,
  value DOUBLE NOT NULL,
  sd DOUBLE NOT NULL,
  at DATETIME,
  instrument TEXT NOT NULL,
  "by" TEXT NOT NULL,
  note TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX readings_of_job ON readings (job);
CREATE TABLE trails (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  parquet_hash TEXT NOT NULL,
  frame_lon_deg DOUBLE NOT NULL,
  frame_lat_deg DOUBLE NOT NULL,
  frame_height_m DOUBLE NOT NULL,
  name TEXT NOT NULL,
  job TEXT,
  outfit TEXT,
  at DATETIME,
  until DATETIME,
  points INTEGER NOT NULL,
  rows INTEGER NOT NULL,
  kept INTEGER NOT NULL,
  repaired INTEGER NOT NULL,
  set_aside INTEGER NOT NULL,
  original_hash TEXT,
  note TEXT NOT NULL,
  UNIQUE ("key"),
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(original_hash) REFERENCES originals ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE catch_masses (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  catch_test TEXT NOT NULL,
  position INTEGER NOT NULL,
  value DOUBLE NOT NULL,
  UNIQUE (catch_test, position),
  FOREIGN KEY(catch_test) REFERENCES catch_tests ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE fills (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  "key" TEXT NOT NULL,
  outfit TEXT NOT NULL,
  bin TEXT NOT NULL,
  product TEXT NOT NULL,
  lot TEXT,
  job TEXT,
  at DATETIME,
  put_kg DOUBLE NOT NULL,
  put_sd_kg DOUBLE NOT NULL,
  how TEXT NOT NULL,
  area_ha DOUBLE,
  level_before_kg DOUBLE,
  level_before_sd_kg DOUBLE,
  load TEXT,
  UNIQUE ("key"),
  FOREIGN KEY(outfit) REFERENCES outfits ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(product) REFERENCES products ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(lot) REFERENCES lots ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(job) REFERENCES jobs ("key") DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY(load) REFERENCES loads ("key") DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX fills_of_job ON fills (job);
CREATE TABLE job_ask_bins (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  job TEXT NOT NULL,
  ask INTEGER NOT NULL,
  position INTEGER NOT NULL,
  value TEXT NOT NULL,
  FOREIGN KEY(job, ask) REFERENCES job_asks (job, position) DEFERRABLE INITIALLY DEFERRED,
  UNIQUE (job, ask, position)
);
CREATE TABLE reading_sources (
  fid INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
  reading TEXT NOT NULL,
  position INTEGER NOT NULL,
  value TEXT NOT NULL,
  UNIQUE (reading, position),
  FOREIGN KEY(reading) REFERENCES readings ("key") DEFERRABLE INITIALLY DEFERRED
);
