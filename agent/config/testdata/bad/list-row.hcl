site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
dynamic "zone" {
  for_each = { a = 1, b = 70000, c = -5 }
  labels   = [zone.key]
  content {
    setpoint = { holding = zone.value, level = true }
    command  = { holding = 2, level = true }
    feedback = { input = 3, volts = true }
    ballasts = zone.value
    judge {
      tolerance = zone.value
    }
  }
}
dynamic "zone" {
  for_each = [1, 2]
  labels   = ["z${zone.value}"]
  content {
    setpoint = { holding = zone.value, level = true }
    command  = { holding = 2, level = true }
  }
}
