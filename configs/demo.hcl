# The simulated store of `dimwatch demo`: fourteen zones on four Modbus units behind one address, each unit with its own
# ideas of registers and scaling. Store, zones and numbers are invented.
#
# Nothing here is special but the settle time: the controllers of this store are fast, and a site is judged in its own time,
# so that seconds are evidence enough where a common store asks for minutes.

site "quillfeather-31" {
  name  = "Quillfeather Grocers 31"
  hours = "00:00-24:00"

  judge {
    tolerance = 10   # percent of level
    settle    = "5s" # these controllers are fast; common ones take a minute
  }
}

agent {
  listen = "127.0.0.1:9847"
}

locals {
  gateway = env("DIMWATCH_DEMO_ADDRESS", "127.0.0.1:5020")
}

device "north" {
  driver  = "modbus-tcp"
  address = local.gateway
  unit    = 11
  timeout = "500ms"
  cycle   = "1s"
}

device "south" {
  driver  = "modbus-tcp"
  address = local.gateway
  unit    = 12
  timeout = "500ms"
  cycle   = "1s"
}

device "back" {
  driver  = "modbus-tcp"
  address = local.gateway
  unit    = 13
  timeout = "500ms"
  cycle   = "1s"
}

device "garden" {
  driver  = "modbus-tcp"
  address = local.gateway
  unit    = 14
  timeout = "500ms"
  cycle   = "1s"
}

# Unit 11: per mille, counts of 0..20 mA (12 bits, so nothing above 20 mA shows), watts as a float with swapped words.
zone "produce" {
  device      = "north"
  setpoint    = { holding = 100, raw = [0, 1000], level = [0, 100] }
  command     = { holding = 101, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = 40, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit         = { coil = 0 }
  power       = { input = 60, type = "float32", order = "word-swap", watts = true }
  daylight    = { input = 50, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 10
  rated_power = 580
}

zone "bakery" {
  device      = "north"
  setpoint    = { holding = 102, raw = [0, 1000], level = [0, 100] }
  command     = { holding = 103, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = 41, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit         = { coil = 1 }
  power       = { input = 62, type = "float32", order = "word-swap", watts = true }
  daylight    = { input = 50, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 6
  rated_power = 348
}

zone "dairy" {
  device      = "north"
  setpoint    = { holding = 104, raw = [0, 1000], level = [0, 100] }
  command     = { holding = 105, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = 42, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit         = { coil = 2 }
  power       = { input = 64, type = "float32", order = "word-swap", watts = true }
  daylight    = { input = 50, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 8
  rated_power = 336
}

zone "aisles-1-4" {
  device      = "north"
  setpoint    = { holding = 106, raw = [0, 1000], level = [0, 100] }
  command     = { holding = 107, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = 43, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit         = { coil = 3 }
  power       = { input = 66, type = "float32", order = "word-swap", watts = true }
  daylight    = { input = 50, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 24
  rated_power = 1392
}

zone "aisles-5-8" {
  device      = "north"
  setpoint    = { holding = 108, raw = [0, 1000], level = [0, 100] }
  command     = { holding = 109, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = 44, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit         = { coil = 4 }
  power       = { input = 68, type = "float32", order = "word-swap", watts = true }
  daylight    = { input = 50, raw = [0, 4095], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 24
  rated_power = 1392
}

# Unit 12: millivolts, hundredths of a milliampere, tenths of a watt, a contact that is closed when the gear is off.
zone "checkouts" {
  device      = "south"
  setpoint    = { input = 300, raw = [0, 10000], volts = [0, 10] }
  command     = { input = 301, raw = [0, 10000], volts = [0, 10] }
  feedback    = { input = 302, raw = [0, 2000], milliamps = [0, 20], volts = [0, 10] }
  lit         = { discrete = 8, kind = "contact", invert = true }
  power       = { input = 304, type = "uint32", raw = [0, 10], watts = [0, 1] }
  daylight    = { input = 290, raw = [0, 2000], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 14
  rated_power = 504
}

zone "entrance" {
  device      = "south"
  setpoint    = { input = 310, raw = [0, 10000], volts = [0, 10] }
  command     = { input = 311, raw = [0, 10000], volts = [0, 10] }
  feedback    = { input = 312, raw = [0, 2000], milliamps = [0, 20], volts = [0, 10] }
  lit         = { discrete = 9, kind = "contact", invert = true }
  power       = { input = 314, type = "uint32", raw = [0, 10], watts = [0, 1] }
  daylight    = { input = 290, raw = [0, 2000], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 4
  rated_power = 440
}

zone "stock-room" {
  device      = "south"
  setpoint    = { input = 320, raw = [0, 10000], volts = [0, 10] }
  command     = { input = 321, raw = [0, 10000], volts = [0, 10] }
  feedback    = { input = 322, raw = [0, 2000], milliamps = [0, 20], volts = [0, 10] }
  lit         = { discrete = 10, kind = "contact", invert = true }
  power       = { input = 324, type = "uint32", raw = [0, 10], watts = [0, 1] }
  daylight    = { input = 290, raw = [0, 2000], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 9
  rated_power = 387
}

zone "pharmacy" {
  device      = "south"
  setpoint    = { input = 330, raw = [0, 10000], volts = [0, 10] }
  command     = { input = 331, raw = [0, 10000], volts = [0, 10] }
  feedback    = { input = 332, raw = [0, 2000], milliamps = [0, 20], volts = [0, 10] }
  lit         = { discrete = 11, kind = "contact", invert = true }
  power       = { input = 334, type = "uint32", raw = [0, 10], watts = [0, 1] }
  daylight    = { input = 290, raw = [0, 2000], milliamps = [0, 20], lux = [0, 5000] }
  ballasts    = 7
  rated_power = 224
}

# Unit 13: the command is a pulse width, the feedback has 4..20 mA as 0..27648, the orders to switch on share one word,
# power is in kilowatts; the wine shelves have no meter.
zone "cold-aisle" {
  device      = "back"
  setpoint    = { holding = 1000, type = "float32", level = true }
  command     = { holding = 1020, raw = [0, 255], duty = [0, 100] }
  feedback    = { input = 200, type = "int16", raw = [0, 27648], milliamps = [4, 20], volts = [0, 10] }
  lit         = { holding = 1030, bit = 0 }
  power       = { input = 220, type = "float32", order = "little", raw = [0, 1], watts = [0, 1000] }
  daylight    = { input = 210, type = "int16", raw = [0, 27648], milliamps = [4, 20], lux = [0, 5000] }
  ballasts    = 12
  rated_power = 600
}

zone "wine" {
  device      = "back"
  setpoint    = { holding = 1002, type = "float32", level = true }
  command     = { holding = 1021, raw = [0, 255], duty = [0, 100] }
  feedback    = { input = 201, type = "int16", raw = [0, 27648], milliamps = [4, 20], volts = [0, 10] }
  lit         = { holding = 1030, bit = 1 }
  daylight    = { input = 210, type = "int16", raw = [0, 27648], milliamps = [4, 20], lux = [0, 5000] }
  ballasts    = 5
  rated_power = 140
}

zone "office" {
  device      = "back"
  setpoint    = { holding = 1004, type = "float32", level = true }
  command     = { holding = 1022, raw = [0, 255], duty = [0, 100] }
  feedback    = { input = 202, type = "int16", raw = [0, 27648], milliamps = [4, 20], volts = [0, 10] }
  lit         = { holding = 1030, bit = 2 }
  power       = { input = 224, type = "float32", order = "little", raw = [0, 1], watts = [0, 1000] }
  daylight    = { input = 210, type = "int16", raw = [0, 27648], milliamps = [4, 20], lux = [0, 5000] }
  ballasts    = 8
  rated_power = 272
}

# Unit 14: 8-bit levels, 10-bit counts of 0..25 mA, whole watts.
zone "garden" {
  device      = "garden"
  setpoint    = { holding = 0, raw = [0, 255], level = [0, 100] }
  command     = { holding = 1, raw = [0, 255], level = [0, 100] }
  feedback    = { input = 0, raw = [0, 1023], milliamps = [0, 25], volts = [0, 10] }
  lit         = { coil = 16 }
  power       = { input = 4, watts = true }
  daylight    = { input = 2, raw = [0, 1023], milliamps = [0, 25], lux = [0, 5000] }
  ballasts    = 16
  rated_power = 1280
}

zone "seasonal" {
  device      = "garden"
  setpoint    = { holding = 4, raw = [0, 255], level = [0, 100] }
  command     = { holding = 5, raw = [0, 255], level = [0, 100] }
  feedback    = { input = 1, raw = [0, 1023], milliamps = [0, 25], volts = [0, 10] }
  lit         = { coil = 17 }
  power       = { input = 5, watts = true }
  daylight    = { input = 2, raw = [0, 1023], milliamps = [0, 25], lux = [0, 5000] }
  ballasts    = 10
  rated_power = 580
}
