site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "z" {
  setpoint = { holding = 65535, type = "float64", raw = [1, 1], level = [0, 500] }
  command  = { holding = 2, level = true, invert = true }
  feedback = { input = 3, volts = true }
  lit      = { coil = 1, bit = 2, kind = "contct" }
}
