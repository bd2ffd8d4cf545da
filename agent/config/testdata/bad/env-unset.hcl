site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = env("DIMWATCH_TEST_UNSET")
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
}
