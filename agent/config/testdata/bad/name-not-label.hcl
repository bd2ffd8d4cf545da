site "Harbor Street #12" {
  hours = "06:00-22:00"
}
device "" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "-Küche/2" {
  device = ""
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
}
zone "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa" {
}
