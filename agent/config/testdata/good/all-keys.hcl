# Every argument that there is.

locals {
  later   = "${local.earlier}-${upper("b")}" # may use what comes after it
  earlier = "a"
  slope   = { raw = [0, 1000], level = [0, 100] }
}

site "all-keys" {
  name      = "All Keys ${local.later}"
  latitude  = -33.9
  longitude = 18.4
  time_zone = "Africa/Johannesburg"
  hours = {
    monday    = "06:00-12:00, 14:00-22:00"
    tue       = "00:00-24:00"
    wed-thu   = "22:00-02:00"
    fri       = "closed"
    sat       = "9:30-17:45"
  }
  closed = ["2026-12-25", "2027-01-01"]
  tariff = 0.21
  judge {
    tolerance      = 7
    settle         = "1m30s"
    false_findings = 0.01
  }
}

agent {
  listen     = ":9847"
  state      = "state"
  web_config = "/etc/dimwatch/web.yml"
}

device "north" {
  driver    = "modbus-tcp"
  address   = "127.0.0.1:5020"
  unit      = 3
  cycle     = "2s"
  timeout   = "250ms"
  gap       = "0s"
  bus_share = 0.9
}

device "south" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
}

zone "one" {
  device   = "north"
  setpoint = merge(local.slope, { holding = 100, type = "int16" })
  command  = { holding = 101, raw = [1000, 0], duty = [0, 100] }
  feedback = { input = 40, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit      = { device = "south", holding = 7, bit = 2, kind = "contact", invert = true }
  power    = { "input" = 60, raw = [0, 10], watts = [0, 2500] }
  daylight = { input = 44, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }

  out_of_service = true
  rated_power    = 1392.5
  ballasts       = 24
  power_curve    = [[0, 12], [50, 60], [100, 100]]
  feedback_tap   = "gear"
  judge {
    settle = "20s"
  }
}

zone "two" {
  device   = "south"
  setpoint = { holding = 100, level = true }
  command  = { holding = 101, volts = true }
  feedback = { input = 40, volts = true }
  lit      = { coil = 1 }
  power    = null
  daylight = { device = "north", input = 44, raw = [0, 4095], milliamps = [0, 20], lux = [0, 2500] } # the same reading as zone one's
}
