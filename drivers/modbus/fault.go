package modbus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dimwatch/drivers"

	"github.com/goburrow/modbus"
)

// faultKind is what went wrong with a request other than an exception, which is an answer.
type faultKind uint8

const (
	dialFault      faultKind = iota // the connection could not be made
	waitFault                       // it is not tried to make it, yet
	closedFault                     // it broke
	timeoutFault                    // no answer in time
	partialFault                    // a part of an answer in time
	protocolFault                   // an answer that is none
	cancelledFault                  // the caller did not want to wait any longer
)

// fault is such an error. It unwraps to the sentinel of the drivers contract, and to its cause.
type fault struct {
	kind  faultKind
	text  string
	cause error
	early bool // closedFault: before anything of the answer had come
}

func (f *fault) Error() string {
	text := f.text
	if text == "" {
		text = f.sentinel().Error()
	}
	if f.cause != nil {
		return fmt.Sprintf("%s: %v", text, f.cause)
	}
	return text
}

func (f *fault) sentinel() error {
	switch f.kind {
	case timeoutFault, partialFault, cancelledFault:
		return drivers.ErrTimeout
	case protocolFault:
		return drivers.ErrReply
	}
	return drivers.ErrRefused
}

func (f *fault) Unwrap() []error {
	if f.cause == nil {
		return []error{f.sentinel()}
	}
	return []error{f.sentinel(), f.cause}
}

// faultOf gives the fault that an error is, if it is one. It is asked after each request, so it costs nothing for nil.
func faultOf(err error) (*fault, bool) {
	if err == nil {
		return nil, false
	}
	var f *fault
	return f, errors.As(err, &f)
}

// exceptionOf gives the code of an exception, 0 if the error is none.
func exceptionOf(err error) byte {
	if err == nil {
		return 0
	}
	var e *modbus.ModbusError
	if errors.As(err, &e) {
		return e.ExceptionCode
	}
	return 0
}

// cancelled is the fault of a caller that no longer waits.
func cancelled(ctx context.Context) error {
	cause := context.Cause(ctx)
	if cause == nil {
		cause = context.DeadlineExceeded // the deadline is over, the context is about to notice
	}
	return &fault{kind: cancelledFault, text: "given up", cause: cause}
}

// round gives a pause for people.
func round(d time.Duration) string {
	if d > time.Second {
		return d.Round(time.Second).String()
	}
	return fmt.Sprintf("%d ms", max(1, d.Milliseconds()))
}

// Exception codes (AP 7).
const (
	illegalFunction = 1
	illegalAddress  = 2
	illegalValue    = 3
	deviceFailure   = 4
	deviceBusy      = 6
	memoryParity    = 8
	gatewayPath     = 10
	gatewayTarget   = 11
)

// exceptionReason says in a few words what an exception means to a read.
func exceptionReason(code byte) string {
	switch code {
	case illegalFunction:
		return "exception 1: the device cannot read this kind of point"
	case illegalAddress:
		return "exception 2: not in device"
	case illegalValue:
		return "exception 3: the device refuses the number asked for"
	case deviceFailure:
		return "exception 4: fault in the device"
	case 5:
		return "exception 5: the device has begun something else"
	case deviceBusy:
		return "exception 6: the device is busy"
	case memoryParity:
		return "exception 8: memory fault in the device"
	case gatewayPath:
		return "exception 10: the gateway has no path to the unit"
	case gatewayTarget:
		return "exception 11: the unit behind the gateway does not answer"
	}
	return fmt.Sprintf("exception %d: no meaning known", code)
}
