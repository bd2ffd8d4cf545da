site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-rtu"
  address = "127.0.0.1:5020"
  timeout = "500"
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, raw = [0, 1000], volt = [0, 10] }
  command = { holding = 2, raws = [0, 1000], level = [0, 100] }
  feedback = { input = 3, raws = [0, 1000], milliamps = [4, 20], volts = [0, 10] }
}
