site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, raw = [0, 100], milliamps = [4, 4], level = [0, 100] }
  command = { holding = 2, level = true }
  feedback = { input = 3, raw = [0, 4095], milliamps = [0, 0.02], volts = [0, 10] }
  daylight = { input = 4, raw = [0, 4095], milliamps = [4000, 20000], lux = [0, 5000] }
}
