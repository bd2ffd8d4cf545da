# Many zones from a point list: each row of points.csv becomes a zone. A mistake in such a zone names the row.

site "mill-road-7" {
  name      = "Mill Road Grocers 7"
  time_zone = "America/Chicago"
  hours     = { mon-sat = "06:00-22:00", sun = "08:00-20:00" }
}

locals {
  points = csvdecode(file("points.csv")) # the path starts at this file's folder

  # The units that the list names, with their Modbus addresses.
  units = { north = 11, south = 12 }
}

dynamic "device" {
  for_each = local.units
  labels   = [device.key]
  content {
    driver  = "modbus-tcp"
    address = env("MILL_ROAD_GATEWAY", "127.0.0.1:5020")
    unit    = device.value
  }
}

dynamic "zone" {
  for_each = local.points
  labels   = [zone.value.zone]
  content {
    device   = zone.value.unit
    setpoint = { holding = zone.value.setpoint, raw = [0, 1000], level = [0, 100] }
    command  = { holding = zone.value.command, raw = [0, 1000], level = [0, 100] }
    feedback = { input = zone.value.feedback, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }

    # A cell that is empty leaves the point out.
    lit   = zone.value.lit == "" ? null : { coil = zone.value.lit }
    power = zone.value.power == "" ? null : { input = zone.value.power, type = "float32", watts = true }

    rated_power = zone.value.rated_power
    ballasts    = zone.value.ballasts
    judge {
      settle = zone.value.settle
    }
  }
}
