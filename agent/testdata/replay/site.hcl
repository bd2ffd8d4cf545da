# One zone of an invented store, its registers unlike any default; the test that plays a recording sets the address.
site "brack-hollow-14" {
  name  = "Brack Hollow Market 14"
  hours = "00:00-24:00"
}

device "south" {
  driver  = "modbus-tcp"
  address = env("DIMWATCH_REPLAY_ADDRESS", "127.0.0.1:5020")
  unit    = 7
  timeout = "1s"
  cycle   = "5s"
}

zone "produce" {
  device      = "south"
  setpoint    = { input = 210, type = "int16", raw = [0, 1000], level = [0, 100] }
  command     = { holding = 12, raw = [0, 255], level = [0, 100] }
  feedback    = { input = 300, type = "float32", order = "little", raw = [4, 20], milliamps = [4, 20], volts = [0, 10] }
  lit         = { coil = 17 }
  power       = { input = 340, type = "int32", order = "byte-swap", raw = [0, 10], watts = [0, 1] }
  ballasts    = 39
  rated_power = 1716
}
