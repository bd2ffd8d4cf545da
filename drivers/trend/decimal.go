package trend

import (
	"math"
	"strconv"
)

// state says what a cell turned out to be.
type state uint8

const (
	empty  state = iota // nothing, or spaces
	number              // a finite number
	wrong               // anything else
	huge                // a number beyond the range of float64
)

// cell is one decoded cell.
type cell struct {
	value float64
	state state
}

// decodeCell decodes the text of one cell. mark is the decimal mark, '.' or ','; 0 takes either. seen is the mark that
// the cell has, or 0.
func decodeCell(b []byte, mark byte) (c cell, seen byte) {
	b = trimSpace(b)
	if len(b) == 0 {
		return cell{}, 0
	}
	i, negative := 0, false
	if b[0] == '-' || b[0] == '+' {
		i, negative = 1, b[0] == '-'
	}
	digits, decimals := uint64(0), 0
	start := i
	for ; i < len(b); i++ {
		d := b[i] - '0'
		if d > 9 {
			if seen == 0 && (b[i] == '.' || b[i] == ',') && (b[i] == mark || mark == 0) {
				seen = b[i]
				start++
				continue
			}
			return slowDecimal(b, mark)
		}
		if digits >= 1<<53/10 {
			return slowDecimal(b, mark)
		}
		digits = digits*10 + uint64(d)
		if seen != 0 {
			decimals++
		}
	}
	if i == start || decimals >= len(powersOfTen) {
		return slowDecimal(b, mark)
	}
	// Both are float64 without rounding, so that the quotient is rounded once and is the nearest float64 to the text.
	// Source: Clinger, How to Read Floating Point Numbers Accurately, PLDI 1990, section 3 (the fast path).
	value := float64(digits) / powersOfTen[decimals]
	if negative {
		value = -value
	}
	return cell{value, number}, seen
}

// powersOfTen are those that are exact in a float64: 5^22 < 2^53 < 5^23.
var powersOfTen = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// maxNumber is the longest text that is taken for a number, in bytes. Chosen: the largest float64 written without an
// exponent has 309 digits; no recorder prints more.
const maxNumber = 400

// slowDecimal is decodeCell for what the fast path leaves: exponents, many digits, and what is no number. It lets
// through decimals only; strconv alone would also take NaN, Inf, hexadecimal and underscores.
func slowDecimal(b []byte, mark byte) (c cell, seen byte) {
	if len(b) > maxNumber {
		return cell{state: wrong}, 0
	}
	var plain [maxNumber]byte
	for i, ch := range b {
		switch {
		case ch >= '0' && ch <= '9', ch == '+', ch == '-', ch == 'e', ch == 'E':
		case (ch == '.' || ch == ',') && seen == 0 && (mark == 0 || ch == mark):
			seen, ch = ch, '.'
		default:
			return cell{state: wrong}, 0
		}
		plain[i] = ch
	}
	value, err := strconv.ParseFloat(string(plain[:len(b)]), 64)
	switch {
	case err == nil:
		return cell{value, number}, seen
	case math.IsInf(value, 0):
		return cell{state: huge}, 0
	}
	return cell{state: wrong}, 0
}

// trimSpace takes away spaces and tabs at both ends.
func trimSpace(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t') {
		b = b[:len(b)-1]
	}
	return b
}
