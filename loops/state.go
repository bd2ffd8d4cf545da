package loops

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"reflect"
	"slices"
)

// The state of a judge between two runs: all that it knows of zones and devices (what was learned, the evidence, the
// newest sample), the findings that stand, those not told yet, and the counters that name the next ones. Settings are kept
// beside it, to see later which zones are still the same; what follows from them is worked out anew.

const (
	// stateMark begins a state; the byte after it is the version of its form, which changes only when encode.go does.
	stateMark    = "dimwatch judgement "
	stateVersion = '1'
)

// castagnoli is the checksum that ends a state. Source: CRC-32C of RFC 3720, section 12.1.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Save gives the state of the judge as bytes for Restore. It changes nothing.
func (j *Judge) Save() []byte {
	e := encoder{out: append([]byte(stateMark), stateVersion), names: map[string]uint64{}}
	e.value(reflect.ValueOf(j).Elem())
	return binary.BigEndian.AppendUint32(e.out, crc32.Checksum(e.out, castagnoli))
}

// Restore takes over a state that Save gave, so that the judge goes on as if there had been no break. Like Resume it takes
// the zones and devices that are the same, and comes before the first sample. After an error, which says that the bytes are
// damaged or not a state, the judge is as it was.
func (j *Judge) Restore(state []byte) error {
	root, err := unseal(state)
	if err != nil {
		return err
	}
	set, err := j.settingsOf(&root)
	if err != nil {
		return err
	}
	old := New(set)
	fill(reflect.ValueOf(old).Elem(), &root) // settings are there already, and are filled in place
	unsound := func(f Finding) bool { return !old.holds(f) }
	old.open, old.changes = slices.DeleteFunc(old.open, unsound), slices.DeleteFunc(old.changes, unsound)
	j.Resume(old)
	return nil
}

// unseal reads the tree of a state whose mark, version and checksum are right.
func unseal(state []byte) (root datum, err error) {
	const frame = len(stateMark) + 1 + 4
	if len(state) < frame || string(state[:len(stateMark)]) != stateMark {
		return root, errors.New("this is not the state of a judgement")
	}
	if v := state[len(stateMark)]; v != stateVersion {
		return root, fmt.Errorf("the state is of version %q, and this program reads %q: it was written by a newer one", v, stateVersion)
	}
	body, sum := state[:len(state)-4], binary.BigEndian.Uint32(state[len(state)-4:])
	if got := crc32.Checksum(body, castagnoli); got != sum {
		return root, fmt.Errorf("the state is damaged: its checksum is %08x and should be %08x", got, sum)
	}
	return read(body[len(stateMark)+1:])
}

// settingsOf gives the settings that a state was saved under. A setting that was not known then is taken to have been as
// it is now, so that a new one does not make all zones strangers.
func (j *Judge) settingsOf(root *datum) (Settings, error) {
	set := Settings{Placed: j.set.Placed, Latitude: j.set.Latitude, Longitude: j.set.Longitude, UTCOffset: j.set.UTCOffset}
	kept := root.of("set")
	if kept == nil {
		return set, fmt.Errorf("%w: no settings", errState)
	}
	if zones := kept.of("Zones"); zones != nil {
		set.Zones = make([]ZoneSettings, len(zones.list))
		for i := range zones.list {
			name := zones.list[i].of("Name")
			now := slices.IndexFunc(j.set.Zones, func(z ZoneSettings) bool { return name != nil && z.Name == name.text })
			if now >= 0 {
				set.Zones[i] = j.set.Zones[now]
			}
		}
	}
	fill(reflect.ValueOf(&set).Elem(), kept)
	for i, of := range map[string]int{"zones": len(set.Zones), "devices": len(set.Devices), "sensors": len(set.Sensors)} {
		if list := root.of(i); list == nil && of > 0 || list != nil && len(list.list) != of {
			return set, fmt.Errorf("%w: %s and their settings differ in number", errState, i)
		}
	}
	return set, set.sound()
}

// sound says what settings refer to that is not there.
func (set *Settings) sound() error {
	outside := func(i, n int) bool { return i < 0 || i >= n }
	for _, z := range set.Zones {
		if outside(z.Device, len(set.Devices)) {
			return fmt.Errorf("%w: zone %q has no device", errState, z.Name)
		}
	}
	for i, s := range set.Sensors {
		none := outside(s.Device, len(set.Devices)) || len(s.Zones) == 0
		for _, z := range s.Zones {
			none = none || outside(z, len(set.Zones))
		}
		if none {
			return fmt.Errorf("%w: sensor %d has no device or no zone", errState, i)
		}
	}
	return nil
}

// holds says whether a finding that was read is about zones and devices that are there, and one that this program knows.
func (j *Judge) holds(f Finding) bool {
	for _, z := range f.Zones {
		if z < 0 || z >= len(j.zones) {
			return false
		}
	}
	if f.Device >= 0 {
		return f.ID > None && f.Device < len(j.devices)
	}
	return (explanationOf(f.ID) >= 0 || sensorFinding(f.ID)) && len(f.Zones) > 0
}
