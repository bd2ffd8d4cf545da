package modbus

import (
	"encoding/binary"
	"io"
	"net"
	"sync"
	"testing"
	"time"
)

// server is a Modbus device that can misbehave. It answers from value, unless misbehave is set: that is then called for
// each request and does the answering.
type server struct {
	t  testing.TB
	l  net.Listener
	at string // host:port

	mu        sync.Mutex
	value     func(unit, function byte, address int) uint16 // registers; bits are its lowest
	misbehave func(x *exchange)
	conns     map[net.Conn]bool
	dials     int
	seen      []request
	raw       []byte // everything that was ever received
	wait      sync.WaitGroup
}

// request is what a client asked.
type request struct {
	id             uint16
	unit, function byte
	address, count int
}

// exchange is one request and the connection to answer it on. n counts the requests of the server from 1.
type exchange struct {
	request
	*server
	conn net.Conn
	n    int
}

// law is the value of a register in most tests: a function of where it lies, so that a value that belongs to another
// place is seen.
func law(unit, function byte, address int) uint16 {
	x := uint32(unit)*2654435761 ^ uint32(function)*40503 ^ uint32(address)*2246822519
	return uint16(x>>7) | 1<<15 // never 0
}

func startServer(t testing.TB) *server {
	s := &server{t: t, value: law, conns: map[net.Conn]bool{}}
	s.listen("127.0.0.1:0")
	t.Cleanup(s.stop)
	return s
}

func (s *server) listen(address string) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.l, s.at = l, l.Addr().String()
	s.wait.Add(1)
	go func() {
		defer s.wait.Done()
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conns[c] = true
			s.dials++
			s.mu.Unlock()
			s.wait.Add(1)
			go func() {
				defer s.wait.Done()
				s.serve(c)
			}()
		}
	}()
}

// stop closes everything; listen on the old address brings the server back.
func (s *server) stop() {
	s.l.Close()
	s.mu.Lock()
	for c := range s.conns {
		c.Close()
	}
	s.mu.Unlock()
	s.wait.Wait()
}

func (s *server) serve(c net.Conn) {
	defer func() {
		c.Close()
		s.mu.Lock()
		delete(s.conns, c)
		s.mu.Unlock()
	}()
	for {
		var b [12]byte
		n, err := io.ReadFull(c, b[:])
		s.mu.Lock()
		s.raw = append(s.raw, b[:n]...)
		if err != nil {
			s.mu.Unlock()
			return
		}
		x := &exchange{server: s, conn: c, request: request{be16(b[:], 0), b[6], b[7], int(be16(b[:], 8)), int(be16(b[:], 10))}}
		s.seen = append(s.seen, x.request)
		x.n = len(s.seen)
		act := s.misbehave
		s.mu.Unlock()
		if act == nil {
			act = (*exchange).answer
		}
		act(x)
	}
}

// does sets how requests are answered; nil for well.
func (s *server) does(f func(x *exchange)) {
	s.mu.Lock()
	s.misbehave = f
	s.mu.Unlock()
}

func (s *server) requests() []request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]request(nil), s.seen...)
}

func (s *server) dialled() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.dials
}

// data is that of the right answer.
func (x *exchange) data() []byte {
	x.mu.Lock()
	value := x.value
	x.mu.Unlock()
	if x.function <= 2 {
		b := make([]byte, (x.count+7)/8)
		for i := range x.count {
			b[i/8] |= byte(value(x.unit, x.function, x.address+i)&1) << (i % 8)
		}
		return b
	}
	var b []byte
	for i := range x.count {
		b = binary.BigEndian.AppendUint16(b, value(x.unit, x.function, x.address+i))
	}
	return b
}

// frame is an answer of any shape.
func (x *exchange) frame(id uint16, unit byte, pdu ...byte) []byte {
	b := binary.BigEndian.AppendUint16(nil, id)
	b = append(b, 0, 0)
	b = binary.BigEndian.AppendUint16(b, uint16(1+len(pdu)))
	return append(append(b, unit), pdu...)
}

// good is the right answer.
func (x *exchange) good() []byte {
	d := x.data()
	return x.frame(x.id, x.unit, append([]byte{x.function, byte(len(d))}, d...)...)
}

func (x *exchange) send(b []byte)         { x.conn.Write(b) }
func (x *exchange) answer()               { x.send(x.good()) }
func (x *exchange) exception(code byte)   { x.send(x.frame(x.id, x.unit, x.function|0x80, code)) }
func (x *exchange) sleep(d time.Duration) { time.Sleep(d) }
func (x *exchange) close()                { x.conn.Close() }

// reset closes so that the client sees a reset and not an end.
func (x *exchange) reset() {
	x.conn.(*net.TCPConn).SetLinger(0)
	x.conn.Close()
}

// drip sends byte by byte.
func (x *exchange) drip(b []byte, each time.Duration) {
	for i := range b {
		if _, err := x.conn.Write(b[i : i+1]); err != nil {
			return
		}
		time.Sleep(each)
	}
}
