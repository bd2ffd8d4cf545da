site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, level = true, invert = true, kind = "order" }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  lit = { coil = 1, raw = [0, 1], level = [0, 100], kind = "orders", invert = "maybe" }
}
