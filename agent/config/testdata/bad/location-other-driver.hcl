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
  command = { column = "z01", level = true }
  feedback = { input = 3, volts = true }
}
device "log" {
  driver = "trend"
  file   = "t.csv"
}
zone "y" {
  device = "log"
  setpoint = { column = "a", level = true }
  command = { column = "b", level = true, type = "int16" }
  feedback = { column = "c", level = true }
}
