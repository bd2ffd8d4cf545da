site "dynamic" {
  hours = "06:00-22:00"
}

locals {
  points = csvdecode(file("points.csv"))
  units  = toset(local.points[*].unit)
}

dynamic "device" {
  for_each = local.units
  labels   = [device.key]
  content {
    driver  = "modbus-tcp"
    address = "127.0.0.1:5020"
    unit    = { north = 1, south = 2 }[device.value]
  }
}

dynamic "zone" {
  for_each = { for p in local.points : p.zone => p if p.zone != "" }
  iterator = row
  labels   = [row.key]
  content {
    device   = row.value.unit
    setpoint = { holding = row.value.first, level = true }
    command  = { holding = row.value.first + 1, level = true }
    feedback = { input = row.value.first + 2, volts = true }
    lit      = row.value.lit != "" ? { coil = row.value.lit } : null
    ballasts = row.value.ballasts
    dynamic "judge" {
      for_each = compact([row.value.settle])
      content {
        settle = judge.value
      }
    }
  }
}

zone "by-hand" {
  device   = "north"
  setpoint = { holding = 300, level = true }
  command  = { holding = 301, level = true }
  feedback = { input = 302, volts = true }
}
