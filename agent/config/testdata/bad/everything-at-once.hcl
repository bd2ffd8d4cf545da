site "harbor 12" {
  latitude = 91
  hours    = "06-22"
  hour     = "06:00-22:00"
}

device "north" {
  driver  = "modbus-tpc"
  address = "127.0.0.1:5020"
  cycle   = "5"
}

zone "a" {
  device   = "nroth"
  setpoint = { holding = 1, raw = [7, 7], level = [0, 1000] }
  command  = { raw = [0, 1000] }
  lit      = { coil = 1, kind = "contct" }
}
