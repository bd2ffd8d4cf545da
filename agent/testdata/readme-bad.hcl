site "corner-market" {
  name      = "Corner Market"
  time_zone = "America/Los_Angles"
}

device "panel" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
  timeout = "5"
}

zone "aisles" {
  setpoint = { holding = 100, raw = [0, 0], level = [0, 100] }
  comand   = { holding = 101, raw = [0, 1000], volts = [0, 10] }
  feedback = { input = 65535, type = "float32", volts = true }
}
