package modbus

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"sync"
	"time"

	"github.com/goburrow/modbus"
)

// stream is a wire: a TCP connection, and for the serial framings to come a terminal. Deadlines are absolute.
type stream interface {
	io.ReadWriteCloser
	SetDeadline(t time.Time) error
}

// dialer makes a stream to an address.
type dialer func(ctx context.Context, address string) (stream, error)

func dialTCP(ctx context.Context, address string) (stream, error) {
	var d net.Dialer
	return d.DialContext(ctx, "tcp", address)
}

// framing is how a request and its answer lie on a stream. It is told of every new stream and knows the last request.
type framing interface {
	reset()
	request(unit byte, pdu *modbus.ProtocolDataUnit, size int) []byte
	reply(s io.Reader) ([]byte, error)
	over()
	partial() bool
	verify(request, reply []byte) error
	payload(adu []byte) (function byte, data []byte)
}

// Redials of a connection that worked, see link.redials.
const (
	redialBurst = 30
	redialEvery = time.Second
	firstRedial = time.Second // the first pause after a connection that did not work
)

// link is one connection, shared by the units behind it. One transaction is on it at a time; units that wait get their
// turn in the order in which they came, so none can starve another.
//
// A connection is kept as long as its framing is certain: through exceptions and through an answer of which nothing has
// come in time. Anything else closes it, and two silences in a row do: bytes cannot be put back in step. It is made
// again at the next request, without a pause if it had worked, else after a pause that doubles.
type link struct {
	address string
	dial    dialer
	framing framing
	gap     time.Duration // least pause between an answer and the next request

	turn chan struct{} // holds one token while nobody has the turn

	// The rest, but for mu, stream and holder, belongs to who has the turn.
	worked  bool      // the connection has given an answer
	silent  int       // requests without an answer since the last answer, on this connection
	next    time.Time // the gap is over
	timer   *time.Timer
	pause   backoff
	redials allowance // against a device that closes after every answer: at most one a second in the long run
	why     error     // of the last failure

	deadline time.Time // of the transaction

	mu      sync.Mutex // for interrupt and close, which do not have the turn
	stream  stream
	holder  *unit
	reading uint64 // unit.reading of the holder
	users   int
}

func newLink(address string, dial dialer, f framing) *link {
	l := &link{
		address: address, dial: dial, framing: f,
		turn:    make(chan struct{}, 1),
		timer:   time.NewTimer(time.Hour),
		pause:   backoff{first: firstRedial},
		redials: allowance{most: redialBurst, every: redialEvery},
	}
	l.timer.Stop()
	l.turn <- struct{}{}
	return l
}

// unit makes one more user of the link.
func (l *link) unit(id byte) *unit {
	u := &unit{link: l, id: id, timeout: defaultTimeout}
	u.client = modbus.NewClient2(u, l)
	l.users++
	return u
}

// read does one transaction for a unit and copies the data of the answer to dst, which has room for it. at is when the
// answer was there. A connection that the device had closed while it was idle is made anew and the request repeated
// once.
func (l *link) read(ctx context.Context, u *unit, t table, address, count int, dst []byte) (n int, at time.Time, err error) {
	select {
	case <-l.turn:
	case <-ctx.Done():
		return 0, time.Now(), cancelled(ctx)
	}
	defer func() { l.turn <- struct{}{} }()
	for again := true; ; again = false {
		fresh, err := l.connect(ctx, u)
		if err == nil {
			err = l.rest(ctx)
		}
		if err == nil {
			n, err = l.transact(ctx, u, t, address, count, dst)
		}
		if f, ok := faultOf(err); ok && f.kind == closedFault && f.early && !fresh && again {
			continue
		}
		return n, time.Now(), err
	}
}

// connect makes the connection if there is none and says whether it did.
func (l *link) connect(ctx context.Context, u *unit) (fresh bool, err error) {
	if l.stream != nil {
		return false, nil
	}
	now := time.Now()
	if wait := l.pause.wait(now); wait > 0 {
		return false, &fault{kind: waitFault, text: "not connected, next try in " + round(wait), cause: l.why}
	}
	if wait := l.redials.wait(now); wait > 0 {
		return false, &fault{kind: waitFault, text: "not connected: the device closes the connection again and again, next try in " + round(wait), cause: l.why}
	}
	l.redials.use(now)
	dialing, cancel := context.WithTimeout(ctx, u.timeout)
	s, err := l.dial(dialing, l.address)
	cancel()
	if err != nil {
		if ctx.Err() != nil {
			return false, cancelled(ctx)
		}
		l.why = err
		l.pause.failed(time.Now())
		u.counts.Closed++
		return false, &fault{kind: dialFault, text: "cannot connect", cause: err}
	}
	l.mu.Lock()
	l.stream = s
	l.mu.Unlock()
	l.worked, l.silent = false, 0
	l.framing.reset()
	return true, nil
}

// rest waits for the end of the gap.
func (l *link) rest(ctx context.Context) error {
	d := time.Until(l.next)
	if d <= 0 {
		return nil
	}
	l.timer.Reset(d)
	select {
	case <-l.timer.C:
		return nil
	case <-ctx.Done():
		l.timer.Stop()
		return cancelled(ctx)
	}
}

// transact sends one request and waits for its answer.
func (l *link) transact(ctx context.Context, u *unit, t table, address, count int, dst []byte) (int, error) {
	if err := l.arm(ctx, u); err != nil {
		if f, _ := faultOf(err); f.kind == closedFault {
			u.count(err)
			l.drop(err)
		}
		return 0, err
	}
	data, err := u.call(t, uint16(address), uint16(count))
	n := copy(dst, data)
	l.disarm()
	l.next = time.Now().Add(l.gap)
	if err != nil && exceptionOf(err) == 0 {
		err = l.broken(ctx, err)
		u.count(err)
		l.settle(err)
		return 0, err
	}
	u.count(err)
	// A well-formed exception proves the connection as well as values do.
	l.worked, l.silent = true, 0
	l.pause.succeeded()
	return n, err
}

// arm sets the one deadline of the transaction and lets an end of the caller's context cut it short.
func (l *link) arm(ctx context.Context, u *unit) error {
	l.deadline = time.Now().Add(u.timeout)
	if d, ok := ctx.Deadline(); ok && d.Before(l.deadline) {
		l.deadline = d
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if ctx.Err() != nil {
		return cancelled(ctx)
	}
	if err := l.stream.SetDeadline(l.deadline); err != nil {
		return &fault{kind: closedFault, text: "the connection was closed", cause: err, early: true}
	}
	l.holder, l.reading = u, u.reading
	return nil
}

func (l *link) disarm() {
	l.mu.Lock()
	l.holder = nil
	l.mu.Unlock()
}

// interrupt ends the transaction of a unit, if it is still that of the same Read.
func (l *link) interrupt(u *unit, reading uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.holder == u && l.reading == reading && l.stream != nil {
		l.stream.SetDeadline(time.Unix(1, 0))
	}
}

// Send writes a request and reads its answer. It is called by the protocol library, within transact.
func (l *link) Send(request []byte) ([]byte, error) {
	if _, err := l.stream.Write(request); err != nil {
		return nil, err
	}
	return l.framing.reply(l.stream)
}

// broken gives an error of the stream its kind.
func (l *link) broken(ctx context.Context, err error) error {
	if _, ok := faultOf(err); ok {
		return err
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		d, ok := ctx.Deadline()
		switch {
		case ctx.Err() != nil || ok && !l.deadline.Before(d):
			return cancelled(ctx)
		case l.framing.partial():
			return &fault{kind: partialFault, text: "no whole answer in time"}
		}
		return &fault{kind: timeoutFault}
	}
	var network net.Error
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrNoProgress) || errors.As(err, &network) || errors.Is(err, os.ErrClosed) {
		return &fault{kind: closedFault, text: "the connection was closed", cause: err, early: !l.framing.partial()}
	}
	return &fault{kind: protocolFault, text: err.Error()}
}

// settle decides whether the connection is kept after a fault.
func (l *link) settle(err error) {
	f, _ := faultOf(err)
	if f.kind == timeoutFault {
		l.framing.over()
		if l.silent++; l.silent < 2 {
			return
		}
	}
	l.drop(err)
}

// drop closes the connection. One that never gave an answer counts as a failure to connect.
func (l *link) drop(why error) {
	l.mu.Lock()
	s := l.stream
	l.stream = nil
	l.mu.Unlock()
	if s == nil {
		return
	}
	s.Close()
	l.why = why
	if !l.worked {
		l.pause.failed(time.Now())
	}
}

// leave ends the use of the link by one unit; the last one closes the connection.
func (l *link) leave() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.users--; l.users == 0 && l.stream != nil {
		l.stream.Close()
		l.stream = nil
	}
}
