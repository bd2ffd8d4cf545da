site "s" {
  hours = "06:00-22:00"
}
zone "z" {
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
}
