site "s" {
  hours = {
    mon     = "06:00-25:00"
    tus     = "06:00-22:00"
    wed-fri = "06:00-12:00, 11:00-22:00"
    fri     = "06:00-22:00"
    sat     = "08:00-08:00"
    sun     = 7
  }
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "z" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
}
