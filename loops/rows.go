package loops

// Checks that several rows share. The readings come from the circuit of the pair: gear sources a small current, 10..15 V
// open; the interface sinks it. Source: solved with a general-purpose circuit simulator; what hands do is common practice.
var (
	lookAtLight = Check{Desk, "Look at the lights or ask the store: minimum light with about 0 V on the pair is a short, full light an open pair, dark gear a lost supply."}
	unplugTest  = Check{Lit | Unplug, "At the interface's pair terminals expect about {volts} V DC now. Unplug the pair and measure the gear side, violet to gray: about 0 V and lights that stay at minimum mean a short, two grounds or a shorted gear input in the field; 10 to 15 V and full light mean that violet and gray do not touch each other. That is not yet the interface: go on with the next check."}
	groundTest  = Check{Lit | Unplug, "Still unplugged, gear side, each conductor to the chassis: violet 0 V and gray about -12 V is a grounded violet, which passes the unplug test as if the interface were bad; violet about +12 V and gray 0 V is a grounded gray; both floating clears the wiring and leaves the interface."}
	ohmsTest    = Check{Dead, "Pair unplugged and circuit locked out: ohms violet to gray, violet to chassis, gray to chassis. Low between the two and high to chassis is a short; low from both to chassis are two grounds, and lifting one of them may only hide the other: measure again until neither reads low."}
	signTest    = Check{Lit, "At the interface's pair terminals mind the sign: about -0.6 V or less means that violet and gray are exchanged somewhere; then the unplugged gear side reads 10 to 15 V by colour and the same with a minus by terminal. Cross them where they are wrong; none of the checks that follow is needed."}
	bridgeTest  = Check{Lit | Unplug | ByHand, "A meter can not tell a hard ground from a damp one. Unplugged, and proven free of line voltage, bridge gray to the chassis and measure the pair: 0 V is a hard ground of violet, about 4 V one of 1 kohm, near 12 V one of 10 kohm or none (8 gear of 0.5 mA). Bridging violet instead finds a ground of gray the same way."}
	lastGear    = Check{Dead, "At the last, lift the control leads of one gear at a time: the one whose lifting frees the pair has a shorted input, or its leads touch."}
	halfSplit   = Check{Dead | Unplug, "To find the place, open the pair in the middle of the zone; with the circuit back on, the half that goes to full light is free of the fault. Halve again."}
	benchTest   = Check{Panel | ByHand, "Interface alone, pair unplugged: a 9 V battery with 1 kohm in series across its pair terminals, command at 25, 50 and 75 %: a good one holds about 2.5, 5.0 and 7.5 V; a dead one leaves 9 V, a shorted one 0 V."}
	commandTest = Check{Panel, "Measure the command at the interface's input: expect {signal}. If it is there, the interface or its setting is at fault; if not, the controller's output or the wire between. Check that the input is set for {kind}."}
	loopTest    = Check{Panel, "{loop}Across the interface's pair terminals a meter should agree with what the feedback says, {volts} V; a difference of more than 0.3 V is the transmitter, its wiring, or what carries the value."}
	byHandTest  = Check{Desk | ByHand, "If the site agrees, set the command by hand to 50 % and watch: lights that follow while the feedback stands still clear the pair and leave the feedback."}
)

// Catalogue has one row a finding, indexed by ID.
var Catalogue = [IDs]Row{
	PairShort: {
		Name: "pair-short", Part: "pair", Severity: "urgent", Title: "the pair is shorted",
		Needs: loopPoints, Sharper: Power,
		Says:   "The pair reads {volts} V with the zone lit and the command at {command} %: violet and gray are joined, directly or through earth, and {minimum}.{exchanged}",
		Checks: []Check{lookAtLight, signTest, unplugTest, groundTest, bridgeTest, ohmsTest, halfSplit, lastGear},
	},
	PairOpen: {
		Name: "pair-open", Part: "pair", Severity: "high", Title: "the pair is open",
		Needs: loopPoints, Sharper: Power,
		Says: "The interface sees {volts} V although the gear is fed and the command is at {command} %: nothing of the pair reaches it, and {full}.{exchanged}",
		Checks: []Check{
			lookAtLight,
			{Lit, "Measure on both sides of the pair's connector: 10 to 15 V at the gear side and about {volts} V at the interface side is an open contact or an unplugged connector."},
			{Lit, "Gear side still plugged, each conductor to the chassis, where the interface's common is earthed: the conductor that is still connected reads about 0 V, the open one about +12 V (violet) or -12 V (gray)."},
			{Dead, "Circuit locked out: continuity of each conductor from the interface to the first fixture. A gray that is open may hide behind a grounded gray: lift that ground and the zone goes full."},
		},
	},
	CircuitOff: {
		Name: "circuit-off", Part: "circuit", Severity: "high", Title: "the gear has no supply",
		Needs: loopPoints, NeedsOne: Power | Order | Contact, Sharper: Power,
		Says: "Light is asked for, but the pair reads {volts} V{withpower}: the gear is not fed.",
		Checks: []Check{
			{Desk, "Ask the store whether the zone is dark. If it is lit at minimum, the pair is shorted; if it is at full, the pair is open."},
			{Panel, "Breaker of the zone's circuit, contactor and its coil, any emergency or demand control that may hold it off. A tripped breaker is not reset twice."},
			{Lit, "A qualified person measures the supply at the contactor's load side and at the first fixture: expect the line voltage of the circuit."},
		},
	},
	StuckDim: {
		Name: "stuck-dim", Part: "interface", Severity: "urgent", Title: "the interface holds the pair at minimum",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair rests at {volts} V whatever the command does, which has wound up to {command} %: the interface holds it down, or no longer sees its command; {minimum}.",
		Checks: []Check{
			{Lit | Unplug, "Unplug the pair and measure the gear side, violet to gray: 10 to 15 V and full light leave the interface (or a grounded violet: next check); about {volts} V and lights that stay dim are a short through some ohms in the field."},
			groundTest, commandTest, benchTest,
		},
	},
	StuckMid: {
		Name: "stuck-mid", Part: "interface", Severity: "high", Title: "the interface does not answer to its command",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair rests at {volts} V while the command has gone to {command} %: interface or command wire stand still.",
		Checks: []Check{
			commandTest,
			{Lit | Unplug, "Unplug the pair and measure the gear side: 10 to 15 V leave the interface; a lower voltage that stays is a leak or a partial short that only limits the top."},
			benchTest,
		},
	},
	NotDimming: {
		Name: "not-dimming", Part: "interface", Severity: "high", Title: "the interface does not dim",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair stands at {volts} V, its open-circuit voltage, with the command at {command} %: the interface sinks no current, and {full}.",
		Checks: []Check{
			commandTest,
			{Lit | Foreign, "At the interface's pair terminals, first on a high AC range, then DC: expect about {volts} V DC. More than 15 V or any AC above 0.2 V is a voltage from elsewhere: stop and find its source."},
			{Lit | Unplug, "Unplug half of the gear: if the pair comes down to its command, there is more gear than the interface can sink; if not, the interface is dead, or the pair is open between it and its transmitter."},
			benchTest,
		},
	},
	CeilingLow: {
		Name: "ceiling-low", Part: "pair", Severity: "medium", Title: "the pair stops short of full",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair follows its command up to {volts} V and stops there: something takes the gear's current before the top.",
		Checks: []Check{
			{Lit | Unplug, "Unplug the pair and measure the gear side: a voltage below 10 V that stays is a leak, damp, a partial short or a reversed gear in the field; 10 to 15 V leave the interface or a violet ground through some ohms."},
			groundTest,
			{Lit | ByHand, "Switch half of the gear off: a ceiling that halves is a resistance (leak, partial short), one that stays is a failed gear input."},
		},
	},
	FloorHigh: {
		Name: "floor-high", Part: "interface", Severity: "medium", Title: "the pair stops short of minimum",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair follows its command down to {volts} V and stops there: there is more gear than the interface can sink, or its output is weak.",
		Checks: []Check{
			{Lit | Unplug, "Unplug every second gear: if the pair comes down, count the gear and its current against the interface's rating."},
			benchTest,
		},
	},
	PairIntermittent: {
		Name: "pair-intermittent", Part: "pair", Severity: "high", Title: "the pair comes and goes",
		Needs: loopPoints, MentionOnly: true,
	},
	FeedbackFrozen: {
		Name: "feedback-frozen", Part: "feedback", Severity: "high", Title: "the feedback stands still",
		Needs: loopPoints, Sharper: Power,
		Says:   "The feedback has repeated {volts} V to the last digit while the command went to {command} %: a converter, gateway or program holds an old value. The lights follow the command, not this reading.",
		Checks: []Check{byHandTest, loopTest, {Desk, "Restart of the converter or gateway that carries this point, and the program that copies it."}},
	},
	FeedbackLoopLow: {
		Name: "feedback-loop-low", Part: "feedback", Severity: "high", Title: "the feedback's current loop is open",
		Needs: Feedback | FeedbackLoop, Sharper: Power,
		Says: "The feedback's current is {milliamps} mA, at or below 3.6 mA: the loop is open or the transmitter is dead.",
		Checks: []Check{
			{Desk | ByHand, "If the site agrees, lower the command by hand: lights that dim clear the pair and leave the feedback loop; lights that stay are an open pair or exchanged conductors."},
			{Panel, "Meter in series at the controller's feedback input: 0 mA is an open wire or a lost supply of the loop. Check that the input is set for current, not for volts."},
			{Lit, "At the interface's pair terminals, minding the polarity: -0.6 V or less means that violet and gray are exchanged; a sound pair follows its command."},
		},
	},
	FeedbackLoopHigh: {
		Name: "feedback-loop-high", Part: "feedback", Severity: "high", Title: "the feedback's current loop is shorted",
		Needs: Feedback | FeedbackLoop, Sharper: Power,
		Says: "The feedback's current is {milliamps} mA, at or above 21 mA: the loop is shorted, the transmitter has failed, or the pair stands at 11 V and more.",
		Checks: []Check{
			{Lit | Foreign, "At the interface's pair terminals, first on a high AC range, then DC: 11 to 15 V DC is a pair that nothing sinks (interface), a pair that follows its command leaves the loop. More than 15 V or any AC above 0.2 V is a voltage from elsewhere: stop and find its source."},
			{Panel, "Lift the loop at the controller's input: a reading that stays high is the input; one that falls to 0 is the transmitter or the wire."},
		},
	},
	FeedbackDrift: {
		Name: "feedback-drift", Part: "feedback", Severity: "medium", Title: "feedback and command have parted",
		Needs: loopPoints, Sharper: Power, MentionOnly: true,
		Says:   "Feedback and command differ by a gain or an offset that was not there before.",
		Checks: []Check{loopTest},
	},
	FeedbackNoisy: {
		Name: "feedback-noisy", Part: "feedback", Severity: "low", Title: "the feedback is noisy",
		Needs: Feedback, MentionOnly: true,
	},
	GearStray: {
		Name: "gear-stray", Part: "gear", Severity: "medium", Title: "part of the gear does not dim",
		Needs: loopPoints | Power,
		Says:  "At {at} V the zone draws {watts} W where it used to draw {usual} W, and at full light as much as ever: part of its gear does not dim, {gear}. It sits beyond a break in the pair, or was replaced by a kind that can not dim.",
		Checks: []Check{
			{Desk, "With the zone at a low level, look along its fixtures or ask the store: fixtures at full light among dimmed ones are the gear in question. All in one run, up to the end, is a break in the pair; single ones are gear of another kind or with its control leads loose. All alike and brighter than the feedback says is the feedback."},
			{Desk, "Ask what was replaced or added lately: gear that does not dim, or another load on the circuit that is metered."},
			{Lit, "At the first fixture that stays at full, violet to gray: 10 to 15 V where the last dimmed one has about {volts} V is a break between the two; about {volts} V is gear that can not dim, or is broken."},
			{Dead, "Circuit locked out: continuity of each conductor from the last fixture that dims to the first that does not, and the terminals of both."},
		},
	},
	LampsOut: {
		Name: "lamps-out", Part: "gear", Severity: "medium", Title: "part of the lamps is out",
		Needs: loopPoints | Power,
		Says:  "At {at} V the zone draws {watts} W where it used to draw {usual} W, and less in the same proportion at every level: part of it gives no light, {gear}.",
		Checks: []Check{
			{Desk, "Count the dark fixtures of the zone, or have the store count: expect {gear}. Single ones are lamps or gear; a row or a block of them is a branch circuit. None at all: the power reading is at fault, or a load that is not the zone's has left its meter."},
			{Desk, "Whether a part was switched off or taken out on purpose. Then change ballasts and rated_power of the zone: it is learned anew."},
			{Panel, "Where a block is dark: breaker and contactor pole of that branch circuit. A tripped breaker is not reset twice."},
			{Dead, "Circuit locked out: change the lamps of a dark fixture first, then its gear. Where gear is replaced it has to be of a kind that dims on this pair."},
		},
	},
	CommandHeld: {
		Name: "command-held", Part: "controller", Severity: "medium", Title: "the command is held",
		Needs: loopPoints,
		Says:  "The command stands at {command} % although the setpoint asks for {setpoint} % and the pair obeys it: it is held by hand, or the program that writes it does not run.",
		Checks: []Check{
			{Desk, "At the controller: an override or hand position of this output, a program that is stopped, a schedule that writes the same output."},
			{ByHand, "Release the output; the command should move towards {setpoint} % within the settle time."},
		},
	},
	Hunting: {
		Name: "hunting", Part: "controller", Severity: "medium", Title: "the loop hunts",
		Needs: loopPoints, MentionOnly: true,
	},
	Sluggish: {
		Name: "sluggish", Part: "controller", Severity: "low", Title: "the loop arrives late",
		Needs: loopPoints, MentionOnly: true,
		Says:   "The loop arrives, but much later than its settle time.",
		Checks: []Check{{Desk, "Gain, integral time and rate limit of the loop in the controller."}},
	},
	ReversedAction: {
		Name: "reversed-action", Part: "controller", Severity: "high", Title: "the command moves the wrong way",
		Needs: loopPoints, MentionOnly: true,
		Says:   "The command moves away from what the error asks for.",
		Checks: []Check{{Desk, "Sense of action of the loop in the controller, and an inverted output or input."}},
	},
	SetpointFrozen: {
		Name: "setpoint-frozen", Part: "setpoint", Severity: "medium", Title: "the setpoint stands still",
		Needs: Setpoint, MentionOnly: true,
	},
	DaylightUnused: {
		Name: "daylight-unused", Part: "setpoint", Severity: "medium", Title: "daylight is not used",
		Needs: Setpoint | Daylight, MentionOnly: true,
	},
	SensorLoopLow: {
		Name: "sensor-loop-low", Part: "sensor", Severity: "high", Title: "the daylight sensor's current loop is open",
		Needs: Daylight | DaylightLoop, MentionOnly: true,
	},
	SensorLoopHigh: {
		Name: "sensor-loop-high", Part: "sensor", Severity: "high", Title: "the daylight sensor's current loop is shorted",
		Needs: Daylight | DaylightLoop, MentionOnly: true,
	},
	SensorFrozen: {
		Name: "sensor-frozen", Part: "sensor", Severity: "medium", Title: "the daylight sensor stands still",
		Needs: Daylight, MentionOnly: true,
	},
	SensorImplausible: {
		Name: "sensor-implausible", Part: "sensor", Severity: "medium", Title: "the daylight sensor does not see the day",
		Needs: Daylight, MentionOnly: true,
	},
	ZonesCrossed: {
		Name: "zones-crossed", Part: "wiring", Severity: "high", Title: "two zones are crossed",
		Needs: loopPoints, MentionOnly: true,
	},
	RepairIncomplete: {
		Name: "repair-incomplete", Part: "pair", Severity: "urgent", Title: "the repair is not complete",
		Needs: loopPoints, MentionOnly: true,
	},
	DeviceLost: {
		Name: "device-lost", Part: "network", Severity: "high", Title: "a device does not answer",
		Says: "Device {device} does not answer; its zones can not be judged: {zones}.",
		Checks: []Check{
			{Panel, "Whether other devices on the same line or gateway answer; then the device's supply, its address and unit, and the line or switch port to it."},
			{Desk, "Whether another master holds the device's only connection."},
		},
	},
	PointsStale: {
		Name: "points-stale", Part: "network", Severity: "high", Title: "the points of a device stand still",
		Says: "Device {device} answers, but every value it gives repeats the one before to the last digit: it, or the gateway before it, gives out old values. Its zones can not be judged: {zones}.",
		Checks: []Check{
			{Desk, "At the controller itself, not through the gateway, compare a few values with what the points read here: values that differ put the fault into what carries them."},
			{Desk, "The gateway's own state of this device: lost, disabled, or in an error that keeps the last values. Its setting for lost devices should be to report an error. Then restart its program or the gateway."},
			{Panel, "The line from the gateway to the device: supply, address, wire and terminals. A gateway that lost its device may go on answering for it."},
		},
	},
	TrackingError: {
		Name: "tracking-error", Part: "unknown", Severity: "medium", Title: "setpoint and feedback are apart",
		Needs: loopPoints,
		Says:  "Setpoint {setpoint} % and feedback {level} % have been apart for {apart}, with the command at {command} %, and no single part explains it.",
		Checks: []Check{
			{Desk, "At the controller: whether the loop runs closed. A command that copies the setpoint while the feedback is off is a loop that runs open."},
			loopTest, commandTest,
		},
	},
}
