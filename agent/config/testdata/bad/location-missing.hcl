site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { raw = [0, 1000], level = [0, 100] }
  feedback = { input = 3, volts = true }
  lit = { kind = "contact" }
}
