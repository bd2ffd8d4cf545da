site "s" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}
dynamic "zone" {
  for_each = csvdecode(file("tidy.csv"))
  labels   = [zone.value.name]
  content {
    device   = zone.value.device
    setpoint = { holding = zone.value.setpoint, raw = [0, zone.value.full], level = [0, 100] }
    command  = { holding = zone.value.comand, raw = [0, 1000], level = [0, 100] }
    feedback = { input = zone.value.feedback, volts = true }
  }
}
