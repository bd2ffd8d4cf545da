// Package demo is a simulated store for `dimwatch demo`: a physical model of a grocery's dimmed zones behind a Modbus TCP
// server on loopback, so that the unchanged daemon has something to watch.
//
// Light comes in, a sensor sees it, a setpoint follows, a controller trims its command until the feedback meets the
// setpoint, an interface sinks current from the pair, gear feeds the pair and draws power. Faults come and go after a
// script, and each acts on the part that it befalls: a ground is a shunt on the pair, an open pair is gear that the
// interface no longer reaches. What the points then read is what the circuit gives. The store, its zones, ratings and
// numbers are invented.
//
// The package shares no code with the rooms that judge, so that they are not marked by their own ruler.
package demo
