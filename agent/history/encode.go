package history

import (
	"encoding/binary"
	"errors"
	"math"
)

// A minute is written as: channels that it has 1, samples 2, and for each of these channels least, mean and most: levels as
// hundredths of a percent in 2 bytes with a sign, watts and lux as float32. All five channels make 45 bytes.
//
// Samples are written one after the other: nanoseconds since the one before (of the first: since 1970) as a varint, a byte
// that says which raw values are others than before, and these: as varints of the difference where all of them are whole
// numbers and were (wholeBit), as registers are, or else as float32. What has not changed costs nothing.

// errShort says that something ends too early or has what this program does not know.
var errShort = errors.New("the history is damaged, or was written by a newer program")

const levelStep = 100 // a percent has so many steps

// Append appends a minute's text without its time, which is part of its key.
func (m *Minute) Append(b []byte) []byte {
	b = append(b, m.Has)
	b = binary.BigEndian.AppendUint16(b, m.Samples)
	for c := range Channels {
		if m.Has&(1<<c) == 0 {
			continue
		}
		s := &m.Stats[c]
		for _, x := range [...]float32{s.Least, s.Mean, s.Most} {
			if c <= Feedback {
				steps := math.Round(float64(x) * levelStep)
				b = binary.BigEndian.AppendUint16(b, uint16(int16(min(math.MaxInt16, max(math.MinInt16, steps)))))
			} else {
				b = binary.BigEndian.AppendUint32(b, math.Float32bits(x))
			}
		}
	}
	return b
}

// DecodeMinute reads what Append wrote.
func DecodeMinute(at int64, b []byte) (Minute, error) {
	if len(b) < 3 || b[0] >= 1<<Channels {
		return Minute{}, errShort
	}
	m := Minute{At: at, Has: b[0], Samples: binary.BigEndian.Uint16(b[1:])}
	b = b[3:]
	for c := range Channels {
		if m.Has&(1<<c) == 0 {
			continue
		}
		width := 4
		if c <= Feedback {
			width = 2
		}
		if len(b) < 3*width {
			return Minute{}, errShort
		}
		var x [3]float32
		for i := range x {
			if width == 2 {
				x[i] = float32(int16(binary.BigEndian.Uint16(b))) / levelStep
			} else {
				x[i] = math.Float32frombits(binary.BigEndian.Uint32(b))
			}
			b = b[width:]
		}
		m.Stats[c] = Stat{x[0], x[1], x[2]}
	}
	if len(b) > 0 {
		return Minute{}, errShort
	}
	return m, nil
}

const (
	wholeBit        = 1 << 6
	mostSampleBytes = binary.MaxVarintLen64 + 1 + 5*Roles // a difference of whole float32 has 5 bytes at most
)

// appendSample appends a sample to those before it.
func appendSample(b []byte, last, s *Sample, first bool) []byte {
	var changed byte
	whole := !first
	for i := range s.Raw {
		if first || math.Float32bits(s.Raw[i]) != math.Float32bits(last.Raw[i]) {
			changed |= 1 << i
			whole = whole && isWhole(s.Raw[i]) && isWhole(last.Raw[i])
		}
	}
	if whole {
		changed |= wholeBit
	}
	b = append(binary.AppendUvarint(b, uint64(s.At-last.At)), changed)
	for i := range s.Raw {
		switch {
		case changed&(1<<i) == 0:
		case whole:
			b = binary.AppendVarint(b, int64(s.Raw[i])-int64(last.Raw[i]))
		default:
			b = binary.BigEndian.AppendUint32(b, math.Float32bits(s.Raw[i]))
		}
	}
	return b
}

// isWhole says that a value is an integer that a float32 has exactly, as it has its neighbours; -0 is not.
func isWhole(x float32) bool {
	return x > -1<<24 && x < 1<<24 && math.Float32bits(float32(int64(x))) == math.Float32bits(x)
}

// decodeSample reads a sample over the one before.
func decodeSample(b []byte, s *Sample) (rest []byte, err error) {
	since, n := binary.Uvarint(b)
	if n <= 0 || len(b) == n || b[n] >= wholeBit<<1 {
		return nil, errShort
	}
	changed := b[n]
	b = b[n+1:]
	s.At += int64(since)
	for i := range s.Raw {
		switch {
		case changed&(1<<i) == 0:
		case changed&wholeBit != 0:
			d, n := binary.Varint(b)
			if n <= 0 || !isWhole(s.Raw[i]) {
				return nil, errShort
			}
			s.Raw[i] = float32(int64(s.Raw[i]) + d)
			b = b[n:]
		default:
			if len(b) < 4 {
				return nil, errShort
			}
			s.Raw[i] = math.Float32frombits(binary.BigEndian.Uint32(b))
			b = b[4:]
		}
	}
	return b, nil
}

// Writer writes samples one after the other.
type Writer struct {
	Bytes []byte
	last  Sample
}

// Add writes a sample, which must not be earlier than the one before.
func (w *Writer) Add(s *Sample) {
	w.Bytes = appendSample(w.Bytes, &w.last, s, w.Bytes == nil)
	w.last = *s
}

// DecodeSamples reads what a Writer wrote.
func DecodeSamples(b []byte) (list []Sample, err error) {
	var s Sample
	for len(b) > 0 {
		if b, err = decodeSample(b, &s); err != nil {
			return nil, err
		}
		list = append(list, s)
	}
	return list, nil
}
