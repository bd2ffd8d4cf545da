site "defaults" {
  hours = "06:00-22:00"
}

device "only" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:502"
}

zone "z" {
  setpoint = { holding = 1, level = true }
  command  = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
}
