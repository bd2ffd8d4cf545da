# A store with four zones on two Modbus units behind one gateway. What several zones have in common stands in locals.

site "harbor-12" {
  name      = "Harbor Street Market 12"
  latitude  = 47.61
  longitude = -122.33
  time_zone = "America/Los_Angeles"
  hours = {
    mon-thu = "06:00-23:00"
    fri     = "06:00-01:00" # past midnight
    sat     = "07:00-01:00"
    sun     = "08:00-22:00" # a day that is not named is closed
  }
  closed = ["2026-12-25", "2027-01-01"]
  tariff = 0.14 # price of a kilowatt-hour

  judge {
    tolerance = 8 # percent of level by which setpoint and feedback may differ
    settle    = "90s"
  }
}

agent {
  listen = "127.0.0.1:9847"
  state  = "/var/lib/dimwatch"
}

locals {
  # Names outside of the file: `dimwatch check` lists them.
  gateway = env("HARBOR_GATEWAY", "127.0.0.1:5020")

  percent   = { raw = [0, 1000], level = [0, 100] }
  loop      = { raw = [0, 4095], milliamps = [0, 20] } # counts of a 0..20 mA input
  pair      = merge(local.loop, { volts = [0, 10] })
  daylight  = merge(local.loop, { lux = [0, 5000] })
  skylights = merge(local.daylight, { device = "north", input = 44 }) # one sensor, used by several zones
}

device "north" {
  driver  = "modbus-tcp"
  address = local.gateway
  unit    = 11
  timeout = "1s"
  cycle   = "5s"
}

device "south" {
  driver    = "modbus-tcp"
  address   = local.gateway
  unit      = 12
  cycle     = "10s"
  gap       = "20ms" # pause between two requests
  bus_share = 0.3    # of the time, at most, since a panel of the store uses this unit too
}

zone "aisles-1-4" {
  device      = "north"
  setpoint    = merge(local.percent, { holding = 100 })
  command     = merge(local.percent, { holding = 101 })
  feedback    = merge(local.pair, { input = 40 })
  lit         = { coil = 3 }
  power       = { input = 60, type = "float32", watts = true }
  daylight    = local.skylights
  ballasts    = 24
  rated_power = 1392
}

zone "aisles-5-8" {
  device      = "north"
  setpoint    = merge(local.percent, { holding = 102 })
  command     = merge(local.percent, { holding = 103 })
  feedback    = merge(local.pair, { input = 41 })
  lit         = { coil = 4 }
  power       = { input = 62, type = "float32", order = "word-swap", watts = true }
  daylight    = local.skylights
  rated_power = 1160
  power_curve = [[0, 14], [10, 22], [50, 58], [100, 100]] # power over level, percent of full
}

zone "produce" {
  device   = "south"
  setpoint = { holding = 20, raw = [0, 10000], level = [0, 100] }
  command  = { holding = 21, raw = [0, 10000], duty = [100, 0] } # pulse width, inverse: long pulses dim
  feedback = merge(local.pair, { input = 8 })
  lit      = { discrete = 2, kind = "contact" } # closed while the gear is fed
  power    = { input = 30, raw = [0, 1000], watts = [0, 2500] }

  feedback_tap = "gear" # measured at the far end of the pair
  judge {
    settle = "150s" # this gear fades
  }
}

zone "stock-room" {
  device   = "south"
  setpoint = { holding = 22, raw = [0, 10000], level = [0, 100] }
  command  = { holding = 23, raw = [0, 10000], volts = [0, 10] }
  feedback = merge(local.pair, { input = 9 })
  lit      = { holding = 40, bit = 5, invert = true } # bit 5 is set while the zone is off

  out_of_service = true # being rewired: watched, not judged
}
