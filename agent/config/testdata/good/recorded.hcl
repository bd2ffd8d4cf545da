site "recorded" {
  name  = "Recorded"
  hours = { mon-sun = "05:00-01:00" }
}

device "log" {
  driver  = "trend"
  file    = "trend.csv.gz"
  cycle   = "500ms" # shorter than the timeout, which means nothing here
}

zone "z" {
  setpoint = { column = "a", raw = [0, 100], level = [0, 100] }
  command  = { column = "b", raw = [0, 255], level = [0, 100] }
  feedback = { column = "c", raw = [4, 20], milliamps = [4, 20], volts = [0, 10] }
}
