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
}
dynamic "zone" {
  for_each = 7
  labels   = ["a"]
  content {
  }
}
dynamic "zone" {
  for_each = [1]
  labels   = [zon.value]
}
dynamic "zones" {
  for_each = [1]
  content {
  }
}
dynamic "zone" {
  for_each = setproduct(range(100), range(100))
  labels   = ["a${zone.key}"]
  content {
  }
}
