site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
dynamic "zone" {
  for_each = range(1, 9)
  labels   = ["z${zone.value}"]
  content {
    setpoint = { holding = zone.value, level = true }
    command  = { holding = 2, level = [0, 100] }
    feedback = { input = 3, volts = true }
  }
}
