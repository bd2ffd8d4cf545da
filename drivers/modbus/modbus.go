// Package modbus reads points from Modbus devices.
//
// It uses the protocol data units of goburrow/modbus and nothing of its transports: framing, connection, deadlines,
// recovery and the check that an answer belongs to its request are here. It cannot write: link.Encode refuses every
// function but the four that read, before a byte is sent.
//
// A Kind is a framing and a way to dial. Today there is one, Modbus over TCP; the serial framings are to be further
// ones over the same link, source and decoding.
//
// Sources named in comments: AP is the Modbus Application Protocol Specification V1.1b3, MT the Modbus Messaging on
// TCP/IP Implementation Guide V1.0b.
package modbus

import (
	"time"

	"dimwatch/drivers"
	"dimwatch/drivers/plan"

	"github.com/hashicorp/hcl/v2"
)

// TCP is the kind "modbus-tcp": Modbus over TCP to a device, or to units behind a gateway.
var TCP = drivers.Kind{
	Name:         "modbus-tcp",
	PointKeys:    []string{"coil", "discrete", "input", "holding", "type", "order", "bit"},
	LocationKeys: []string{"coil", "discrete", "input", "holding"},
	Open:         openTCP,
}

// tcpCost is the price of a request over TCP, in registers: the round trip and the device's scan cost a request the same
// whether it asks for one register or for 125. Chosen: 400 lets only the limit end a run, and the small price of a
// register prefers the shorter of two plans with the same number of reads.
var tcpCost = plan.Cost{Fixed: 400, Each: 1}

// defaultTimeout is used where the configuration gives no timeout.
const defaultTimeout = time.Second

// openTCP makes one source for each device and one link for each address among them.
func openTCP(devices []drivers.Device) ([]drivers.Source, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	links := map[string]*link{}
	sources := make([]drivers.Source, len(devices))
	for i, d := range devices {
		body, more := decodeDevice(d)
		diags = append(diags, more...)
		places, more := decodePoints(d)
		diags = append(diags, more...)
		if diags.HasErrors() {
			continue
		}
		l := links[body.address]
		if l == nil {
			l = newLink(body.address, dialTCP, &mbap{})
			links[body.address] = l
		}
		l.gap = max(l.gap, d.Gap)
		sources[i] = newSource(d, l.unit(body.unit), places, tcpCost)
	}
	if diags.HasErrors() {
		return nil, diags
	}
	return sources, diags
}
