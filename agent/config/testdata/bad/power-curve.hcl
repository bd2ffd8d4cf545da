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
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  power_curve = [[0, 10], [50, 55], [50, 100]]
}
zone "y" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  power_curve = [[0, 10], [50]]
}
zone "x" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  power_curve = [[0, 10], [120, 100]]
}
zone "w" {
  device = "north"
  setpoint = { holding = 1, level = true }
  command = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  power_curve = 100
}
