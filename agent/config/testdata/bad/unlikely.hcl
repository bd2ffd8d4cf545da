site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
zone "fractions" {
  setpoint = { holding = 1, raw = [0, 1000], level = [0, 1] }
  command  = { holding = 2, raw = [0, 1000], volts = [0, 0.1] }
  feedback = { input = 3, raw = [0, 1000], milliamps = [4, 20], level = [0, 4] }
  rated_power = 1.392
  ballasts    = 24
}
zone "one-ballast" {
  setpoint = { holding = 1, level = true }
  command  = { holding = 2, raw = [0, 1000], level = [0, 5] }
  feedback = { input = 3, volts = true }
  rated_power = 1392
  ballasts    = 2
}
zone "usual" {
  setpoint = { holding = 1, level = true }
  command  = { holding = 2, level = true }
  feedback = { input = 3, volts = true }
  rated_power = 1000
  ballasts    = 2
}
