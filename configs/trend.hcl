# Recorded hours, judged by `dimwatch review -config configs/trend.hcl`. The recording is looked for beside this file; its
# first column is `time`, the others are named freely and chosen with `column`.

site "orchard-lane-3" {
  name      = "Orchard Lane Foods 3"
  latitude  = 41.6
  longitude = -93.6
  time_zone = "America/Chicago"
  hours     = "05:00-24:00"
}

device "log" {
  driver = "trend"
  file   = env("ORCHARD_TREND", "trend.csv.gz") # CSV, or CSV packed with gzip
  cycle  = "15s"                                # the recorder's interval
}

zone "aisles-1-4" {
  setpoint    = { column = "z01_setpoint", raw = [0, 100], level = [0, 100] }
  command     = { column = "z01_command", raw = [0, 100], level = [0, 100] }
  feedback    = { column = "z01_feedback", raw = [4, 20], milliamps = [4, 20], volts = [0, 10] }
  lit         = { column = "z01_lit" }
  power       = { column = "z01_kw", raw = [0, 10], watts = [0, 10000] }
  daylight    = { column = "daylight", lux = true }
  rated_power = 1392
}

zone "produce" {
  setpoint = { column = "z02_setpoint", raw = [0, 100], level = [0, 100] }
  command  = { column = "z02_command", raw = [0, 10], volts = [0, 10] }
  feedback = { column = "z02_feedback", raw = [0, 10], volts = [0, 10] } # volts, no current loop
  daylight = { column = "daylight", lux = true }
}
