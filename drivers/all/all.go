// Package all lists the protocols. A new one is a line here.
package all

import (
	"dimwatch/drivers"
	"dimwatch/drivers/modbus"
	"dimwatch/drivers/trend"
)

// Kinds are the protocols by the value of `driver` in a device block.
var Kinds = map[string]drivers.Kind{
	modbus.TCP.Name: modbus.TCP,
	trend.Kind.Name: trend.Kind,
}
