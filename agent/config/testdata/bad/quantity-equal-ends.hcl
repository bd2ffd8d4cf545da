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
  command = { holding = 2, raw = [0, 1000], level = [100, 100] }
  feedback = { input = 3, volts = true }
}
