# The smallest useful configuration: one zone of one controller.
#
#   dimwatch check -config configs/one-zone.hcl     everything wrong in it, and what it can find
#   dimwatch watch -config configs/one-zone.hcl     watch the zone

site "corner-market" {
  name      = "Corner Market"
  latitude  = 44.05 # degrees north; leave both out and what needs the sun is not supported
  longitude = -121.31
  time_zone = "America/Los_Angeles"
  hours     = "06:00-23:00"
}

device "panel" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:5020"
  unit    = 1
}

zone "aisles" {
  # Registers count from 0. raw names two raw values, and the key after it what they mean.
  setpoint = { holding = 100, raw = [0, 1000], level = [0, 100] }

  # A command of 0..10 V; 10 V is full light.
  command = { holding = 101, raw = [0, 1000], volts = [0, 10] }

  # A 4..20 mA transmitter on an input that counts 0..20 mA as 0..4095; 4 mA is 0 V and 20 mA is 10 V of the pair.
  feedback = { input = 40, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }

  # The order to switch on; kind = "contact" would be a contact that says that the gear is fed.
  lit = { coil = 3 }

  # Without raw the number is the quantity already.
  power       = { input = 60, type = "float32", watts = true }
  rated_power = 1392
  ballasts    = 24
}
