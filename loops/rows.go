package loops

// Checks that several rows share. The readings come from the circuit of the pair: gear sources a small current, 10..15 V
// open; the interface sinks it. Source: solved with a general-purpose circuit simulator; what hands do is common practice.
var (
	lookAtLight = Check{Desk, "Look at the lights or ask the store: minimum light with about 0 V on the pair is a short, full light an open pair, dark gear a lost supply."}
	unplugTest  = Check{Lit | Unplug, "At the interface's pair terminals expect about {volts} V DC now. Unplug the pair and measure the gear side, violet to gray: about 0 V and lights that stay at minimum mean a short, two grounds or a shorted gear input in the field; 10 to 15 V and full light mean that violet and gray do not touch each other. That is not yet the interface: go on with the next check."}
	groundTest  = Check{Lit | Unplug, "Still unplugged, gear side, each conductor to the chassis: violet 0 V and gray about -12 V is a grounded violet, which passes the unplug test as if the interface were bad; violet about +12 V and gray 0 V is a grounded gray, or a gear whose control input is not isolated; a few volts of opposite signs are a pair that floats: then the wiring is well, and the interface is what is left."}
	ohmsTest    = Check{Dead, "Pair unplugged and circuit locked out: ohms violet to gray, and each to the chassis of a fixture (not the panel: a ceiling grid may have no earth). Low between the two and high to chassis is a short; low from both to chassis are two grounds, and lifting one of them may only hide the other: measure again until neither reads low."}
	signTest    = Check{Lit, "At the interface's pair terminals mind the sign: about -0.5 V or less means that violet and gray are exchanged somewhere; then the unplugged gear side reads 10 to 15 V by colour and the same with a minus by terminal, or with a minus by colour where the gear itself is reversed. Cross them where they are wrong; none of the checks that follow is needed."}
	bridgeTest  = Check{Lit | Unplug | ByHand, "A meter cannot tell a hard ground from a damp one. Unplugged, and proven free of line voltage, bridge gray to the chassis and measure the pair: 0 V is a hard ground of violet, about 4 V one of 1 kohm, near 12 V one of 10 kohm or none (8 gear of 0.5 mA). Bridging violet instead finds a ground of gray the same way."}
	lastGear    = Check{Dead, "At the last, lift the control leads of one gear at a time: the one whose lifting frees the pair has a shorted input, or its leads touch."}
	halfSplit   = Check{Dead | Unplug, "To find the place of a short, open the pair in the middle of the zone; with the circuit back on, the half that goes to full light is free of it. Halve again. Grounds are not found so, both halves may go full: measure ohms to the chassis half by half."}
	benchTest   = Check{Panel | ByHand | Unplug, "Interface alone, pair unplugged: a 9 V battery with 1 kohm in series across its pair terminals, command at 25, 50 and 75 %: a good one holds about 2.5, 5.0 and 7.5 V; a dead one leaves 9 V, a shorted one 0 V."}
	commandTest = Check{Panel, "Measure the command at the interface's input: expect {signal}. If it is there, the interface or its setting is at fault; if not, the controller's output or the wire between. Check that the input is set for {kind}."}
	loopTest    = Check{Panel, "{loop}Across the interface's pair terminals a meter should agree with what the feedback says, {volts} V; a difference of more than 0.3 V is the transmitter, its wiring, or what carries the value."}
	byHandTest  = Check{Desk | ByHand, "If the site agrees, set the command by hand to 50 % and watch: lights that follow while the feedback stands still show that the pair is well and the feedback is not."}
)

// pairProof is for how long a pair has to be well before its repair is proved: an hour. Chosen: nine of ten spells of a loose
// contact are followed by the next within it; at half, every tenth would be a finding of its own, at double a contractor waits
// for nothing more. Measured: gaps between spells of recorded loose contacts.
const pairProof = 3600.0

// limitProof is for how long a loop has to work beyond what a limit or a drift let it: an hour, since damp and heat move limits.
// Chosen: at half, a leak that dries in the morning sun would clear; at double, a short evening would not prove a repair.
const limitProof = 3600.0

// Catalogue has one row a finding, indexed by ID.
var Catalogue = [IDs]Row{
	PairShort: {
		Name: "pair-short", Part: "pair", Severity: "urgent", Title: "the pair is shorted",
		Needs: loopPoints, Sharper: Power, ProofSeconds: pairProof,
		Says:   "The pair reads {volts} V with the zone lit and the command at {command} %: violet and gray are joined, directly or through earth, and {minimum}.{exchanged}",
		Checks: []Check{lookAtLight, signTest, unplugTest, groundTest, bridgeTest, ohmsTest, halfSplit, lastGear},
	},
	PairOpen: {
		Name: "pair-open", Part: "pair", Severity: "high", Title: "the pair is open",
		Needs: loopPoints, Sharper: Power, ProofSeconds: pairProof,
		Says: "{opened} although the gear is fed and the command is at {command} %: nothing of the pair reaches the interface, and {full}.{exchanged}",
		Checks: []Check{
			lookAtLight,
			{Lit, "Measure on both sides of the pair's connector: 10 to 15 V at the gear side and about {beyond} V at the interface side is an open contact or an unplugged connector."},
			{Lit, "Gear side still plugged, each conductor to the chassis, where the interface's common is earthed: the conductor that is still connected reads about 0 V (up to 2 V on violet), the open one about +12 V (violet) or -9 to -12 V (gray, which the meter loads)."},
			{Dead, "Circuit locked out: continuity of each conductor from the interface to the first fixture. A gray that is open may hide behind a grounded gray: lift that ground and the zone goes full."},
		},
	},
	CircuitOff: {
		Name: "circuit-off", Part: "circuit", Severity: "high", Title: "the gear has no supply",
		Needs: loopPoints, NeedsOne: Power | Order | Contact, Sharper: Power,
		Says: "Light is asked for, but the pair reads {volts} V{withpower}: the gear is not fed.{together}",
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
			{Lit | Unplug, "Unplug the pair and measure the gear side, violet to gray: 10 to 15 V and full light mean that the interface is left (or a grounded violet: next check); about {volts} V and lights that stay dim are a short through some ohms in the field."},
			groundTest, commandTest, benchTest,
		},
	},
	StuckMid: {
		Name: "stuck-mid", Part: "interface", Severity: "high", Title: "the interface does not answer to its command",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair rests at {volts} V while the command has gone to {command} %: interface or command wire stand still.",
		Checks: []Check{
			commandTest,
			{Lit | Unplug, "Unplug the pair and measure the gear side: 10 to 15 V mean that the interface is left, or a violet ground through some ohms (next check); a lower voltage that stays is a leak or a partial short that only limits the top."},
			groundTest, benchTest,
		},
	},
	NotDimming: {
		Name: "not-dimming", Part: "interface", Severity: "high", Title: "the interface does not dim",
		Needs: loopPoints, Sharper: Power,
		Says: "The pair stands at {volts} V{ormore}, its open-circuit voltage, with the command at {command} %: the interface sinks no current, and {full}.",
		Checks: []Check{
			commandTest,
			{Lit | Foreign, "At the interface's pair terminals, first on a high AC range, then DC: expect {opens} V DC. More than 15 V or any AC above 0.2 V is a voltage from elsewhere: stop and find its source."},
			{Dead | Unplug, "Circuit locked out, lift the control leads of half of the gear: it will give full light."},
			{Lit, "With the circuit back on, read the pair: if it comes down to its command, there is more gear than the interface can sink; if not, the interface is dead, or the pair is open between it and its transmitter."},
			benchTest,
		},
	},
	CeilingLow: {
		Name: "ceiling-low", Part: "pair", Severity: "medium", Title: "the pair stops short of full",
		Needs: loopPoints, Sharper: Power, ProofSeconds: limitProof,
		Says: "The pair follows its command up to {volts} V and stops there: something takes the gear's current before the top.",
		Checks: []Check{
			{Lit | Unplug, "Unplug the pair and measure the gear side: a voltage below 10 V that stays is a leak, damp, a partial short or a reversed gear in the field; 10 to 15 V mean that the interface is left, or a violet ground through some ohms."},
			groundTest,
			{Lit | ByHand, "Switch half of the gear off: a ceiling that halves is a resistance (leak, partial short, gear without supply that loads the pair); one that stays, or falls by less, is a gear input that failed or is reversed, or another zone's pair."},
		},
	},
	FloorHigh: {
		Name: "floor-high", Part: "interface", Severity: "medium", Title: "the pair stops short of minimum",
		Needs: loopPoints, Sharper: Power, ProofSeconds: limitProof,
		Says: "The pair follows its command down to {volts} V and stops there: there is more gear than the interface can sink, or its output is weak.",
		Checks: []Check{
			{Dead | Unplug, "Circuit locked out, lift the control leads of every second gear: it will give full light."},
			{Lit, "With the circuit back on, read the pair: if it comes down, count the gear and its current against the interface's rating."},
			benchTest,
		},
	},
	PairIntermittent: {
		Name: "pair-intermittent", Part: "pair", Severity: "high", Title: "the pair comes and goes",
		Needs: loopPoints, Sharper: Power, ProofSeconds: pairProof,
		Says: "The pair has jumped to {spells} and back {times} times while the command asked for something else: a conductor is loose or chafed.",
		Checks: []Check{
			{Desk, "Look at the plot of the feedback: jumps that come with a door, a fan, a lift truck or the warmth of the day say where to look."},
			{Lit | ByHand, "The light jumps with this: warn the people below. At the interface's pair terminals, meter on DC with minimum and maximum hold: move connector, terminals and cable one at a time; a reading that jumps to 0 V or to 10 to 15 V is the place."},
			{Dead, "Circuit locked out: pull gently at each conductor of every terminal, splice and connector of the pair, and look for insulation that is cut by an edge or a clamp; ohms from end to end and to the chassis while the cable is moved."},
			{Desk, "Light at full in the jumps is a conductor that opens, light at minimum one that touches."},
		},
	},
	FeedbackFrozen: {
		Name: "feedback-frozen", Part: "feedback", Severity: "high", Title: "the feedback stands still",
		Needs: loopPoints, Sharper: Power,
		Says:   "The feedback has repeated {volts} V to the last digit while the command went to {command} %: a converter, gateway or program holds an old value. The lights follow the command, not this reading.",
		Checks: []Check{byHandTest, loopTest, {Desk, "The program that copies this point, then the converter or gateway that carries it: have it restarted only when its other points can be missed for that time."}},
	},
	FeedbackLoopLow: {
		Name: "feedback-loop-low", Part: "feedback", Severity: "high", Title: "the feedback's current loop is open",
		Needs: Feedback | FeedbackLoop, Sharper: Power,
		Ends: "the current is above 3.6 mA again",
		Says: "The feedback's current is {milliamps} mA, at or below 3.6 mA: the loop is open or the transmitter is dead.",
		Checks: []Check{
			{Desk | ByHand, "If the site agrees, lower the command by hand: lights that dim show that the pair is well and the feedback's loop is not; lights that stay are an open pair, exchanged conductors, or an interface that has lost its own supply (0 mA, and full light at any command)."},
			{Panel, "Meter in series at the controller's feedback input: 0 mA is an open wire or a lost supply of the loop. Check that the input is set for current, not for volts."},
			{Lit, "At the interface's pair terminals, minding the polarity: -0.5 V or less means that violet and gray are exchanged; a sound pair follows its command."},
		},
	},
	FeedbackLoopHigh: {
		Name: "feedback-loop-high", Part: "feedback", Severity: "high", Title: "the feedback's current loop is shorted",
		Needs: Feedback | FeedbackLoop, Sharper: Power,
		Ends: "the current is below 21 mA again",
		Says: "The feedback's current is {milliamps} mA, at or above 21 mA: the loop is shorted, the transmitter has failed, or the pair stands at 11 V and more.",
		Checks: []Check{
			{Lit | Foreign, "At the interface's pair terminals, first on a high AC range, then DC: 11 to 15 V DC is a pair that nothing sinks (interface), with a pair that follows its command it is the loop. More than 15 V or any AC above 0.2 V is a voltage from elsewhere: stop and find its source."},
			{Panel | ByHand, "This makes the controller wind up to full light: warn the people below. Lift the loop at the controller's input: a reading that stays high is the input; one that falls to 0 is the transmitter or the wire."},
		},
	},
	FeedbackDrift: {
		Name: "feedback-drift", Part: "feedback", Severity: "medium", Title: "feedback and command have parted",
		Needs: loopPoints, Sharper: Power, ProofSeconds: limitProof,
		Says: "Feedback and command have parted: at a command of {command} % the feedback now says {volts} V where it used to say {expected} V, and the loop closes on that value. The lights are off by the difference.",
		Checks: []Check{
			loopTest,
			{Desk, "The scaling of this point in the controller: range, offset and span, an input card that was exchanged, a transmitter set for another range."},
			{Panel, "If meter and feedback agree, it is the interface: compare its command with what it holds, at 25, 50 and 75 %."},
		},
	},
	FeedbackNoisy: {
		Name: "feedback-noisy", Part: "feedback", Severity: "low", Title: "the feedback is noisy",
		Needs: loopPoints,
		Ends:  "the feedback is as quiet as it used to be",
		Says:  "The feedback jitters by {jitter} % of level about {volts} V while the command stands still, {noisetimes} times what it used to.",
		Checks: []Check{
			{Lit | Foreign, "At the interface's pair terminals, first on a high AC range: more than 0.2 V AC on a plugged pair is picked up from line wiring beside it; switch the neighbouring circuit off, and it disappears with it. The DC mean falls with it."},
			{Panel, "Shield of the feedback's cable: grounded at one end only, and connected there. Supply of the loop: less than 0.2 V of ripple."},
			{Panel, "Meter in milliamps at the controller's feedback input: where the current is steady, it is the input card or its filter."},
		},
	},
	GearStray: {
		Name: "gear-stray", Part: "gear", Severity: "medium", Title: "part of the gear does not dim",
		Needs: loopPoints | Power,
		Ends:  "the power fits the light again at every level",
		Says:  "At {at} V the zone draws {watts} W where it used to draw {usual} W, and at full light as much as ever: part of its gear does not dim, {gear}. It sits beyond a break in the pair, or was replaced by a kind that cannot dim.",
		Checks: []Check{
			{Desk, "With the zone at a low level, look along its fixtures or ask the store: fixtures at full light among dimmed ones are the gear in question. All in one run, up to the end, is a break in the pair; single ones are gear of another kind or with its control leads loose. All alike and brighter than the feedback says is the feedback."},
			{Desk, "Ask what was replaced or added lately: gear that does not dim, or another load on the circuit that is metered."},
			{Lit, "At the first fixture that stays at full, violet to gray: 10 to 15 V where the last dimmed one has about {volts} V is a break between the two; about {volts} V is gear that cannot dim, or is broken."},
			{Dead, "Circuit locked out: continuity of each conductor from the last fixture that dims to the first that does not, and the terminals of both."},
		},
	},
	LampsOut: {
		Name: "lamps-out", Part: "gear", Severity: "medium", Title: "part of the lamps is out",
		Needs: loopPoints | Power,
		Ends:  "the power is what it was before",
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
		Needs: loopPoints, Sharper: Power,
		Ends: "the loop has not swung for twenty of its periods, four hours at least",
		Says: "The loop swings by {amplitude} % of level about its setpoint with a period of about {period}: command, feedback and light go up and down together.",
		Checks: []Check{
			{Desk, "Gain, integral time and scan of the loop in the controller: halve the gain; the swing should die out within a few periods. What was changed last is the first place to look."},
			{Desk | ByHand, "If the site agrees, put the command by hand to its mean: a pair that stays still shows that all but the loop's settings is well; one that goes on swinging is driven from elsewhere."},
			{Desk, "Whether the daylight sensor sees the light that it controls, and whether two programs write the same output."},
		},
	},
	Sluggish: {
		Name: "sluggish", Part: "controller", Severity: "low", Title: "the loop arrives late",
		Needs: loopPoints,
		Says:  "The loop arrives, but much later than it used to: setpoint {setpoint} %, feedback {level} %, and the command, at {command} %, goes the right way too slowly.",
		Checks: []Check{
			{Desk, "Gain, integral time, rate limit and scan time of the loop in the controller, and what was changed last."},
			{Desk | ByHand, "If the site agrees, step the command by hand by 20 %: with a feedback that is there within some seconds interface and pair are well, and it is the loop's settings; one that creeps is gear that fades, or a filter in the transmitter."},
		},
	},
	ReversedAction: {
		Name: "reversed-action", Part: "controller", Severity: "high", Title: "the command moves the wrong way",
		Needs: loopPoints,
		Says:  "The command goes the wrong way: with the setpoint at {setpoint} % and the feedback at {level} % it has gone to {command} %. The loop runs away to an end stop.",
		Checks: []Check{
			{Desk, "At the controller: the sense of action of this loop, and whether its output or its feedback was inverted in a program change; an override that holds the command looks alike once it rests at the end stop."},
			{Desk | ByHand, "If the site agrees, put the loop by hand to the setpoint: back in automatic it runs away again at once where the action is reversed."},
		},
	},
	SetpointFrozen: {
		Name: "setpoint-frozen", Part: "setpoint", Severity: "medium", Title: "the setpoint stands still",
		Needs: Setpoint, NeedsOne: Daylight | Sun,
		Ends: "the setpoint goes with daylight again",
		Says: "The setpoint {kept} {setpoint} % for {rested}, where it used to go with daylight: now it should be about {asked} %. The program that writes it has stopped, or it is held.",
		Checks: []Check{
			{Desk, "At the controller: whether the setpoint is overridden or in hand, and whether the daylight program runs and sees the sensor's reading change. A program whose input moves and whose output does not is the fault; an input that stands still leads to the sensor, its device or the value's way through the network."},
			{Desk, "Whether a person or another program (schedule, demand limit, a test that was not ended) writes the same value with a higher priority."},
			{Desk | ByHand, "If the site agrees, cover the sensor or shine a lamp on it for ten minutes: a setpoint that follows shows that program and sensor work together."},
		},
	},
	DaylightUnused: {
		Name: "daylight-unused", Part: "setpoint", Severity: "medium", Title: "daylight is not used",
		Needs: Setpoint | Daylight,
		Ends:  "the setpoint goes down with daylight again",
		Says:  "The setpoint stays at {setpoint} %, its full level, in light in which it used to go down to about {asked} %: the sensor sees the day, and the program does not use it.",
		Checks: []Check{
			{Desk, "At the controller: whether daylight dimming of this zone is switched on, and its target or threshold against the sensor's reading now. One that lies above what the sensor can reach is never met."},
			{Desk, "Whether the program reads this sensor: its reading there should be the one that is shown here. A value that stands still there, or another point, is the fault."},
			{Desk, "Whether a person, a schedule or a demand program holds the setpoint at full with a higher priority. Where it never moves at all, day or night, the program may have stopped."},
		},
	},
	SensorLoopLow: {
		Name: "sensor-loop-low", Part: "sensor", Severity: "high", Title: "the daylight sensor's current loop is open",
		Needs: Daylight | DaylightLoop,
		Ends:  "the sensor's current is above 3.6 mA again",
		Says:  "The daylight sensor's current is {milliamps} mA, at or below 3.6 mA: the loop is open or the sensor is dead. To {zones} it is always dark.{many}",
		Checks: []Check{
			{Panel, "Meter in series at the controller's sensor input: 0 mA is an open wire or a lost loop supply, 3.6 mA or a little less a sensor that reports a fault of its own. Check that the input is set for current, not for volts."},
			{Panel, "Loop supply at the sensor's terminals in the panel: expect its rated voltage, usually 24 V DC."},
			{Panel | ByHand, "If the supply is there: the next makes the program see bright daylight and dims the zones, so warn the people below. Lift the field wire and put 1.2 kohm between the two terminals instead: with 16 to 20 mA at the input, input and supply are well, and it is the sensor or the field wire."},
		},
	},
	SensorLoopHigh: {
		Name: "sensor-loop-high", Part: "sensor", Severity: "high", Title: "the daylight sensor's current loop is shorted",
		Needs: Daylight | DaylightLoop,
		Ends:  "the sensor's current is below 21 mA again",
		Says:  "The daylight sensor's current is {milliamps} mA, at or above 21 mA: the loop is shorted or the sensor has failed. To {zones} it is always bright, and they are dimmed by night as well.{many}",
		Checks: []Check{
			{Panel | ByHand, "This makes the program see the dark and gives full light: warn the people below. Lift the loop at the controller's sensor input: a reading that stays high is the input; one that falls to 0 is the sensor or its wire."},
			{Desk, "If wire or sensor are left, look for what was done along the wire lately: work above the ceiling, water, a cable that was pinched; a sensor that was exchanged may be of another kind, with a voltage signal or a supply of its own."},
		},
	},
	SensorFrozen: {
		Name: "sensor-frozen", Part: "sensor", Severity: "medium", Title: "the daylight sensor stands still",
		Needs: Daylight,
		Ends:  "the sensor's reading changes again",
		Says:  "The daylight sensor of {zones} has repeated {lux} lux to the last digit for {still}, while the sun moved and other points of its device changed: a converter, gateway or program holds an old value.{many}",
		Checks: []Check{
			{Desk | ByHand, "Cover the sensor or shine a lamp on it: a reading that does not change is held on the signal's way. It may change the light of the zone."},
			{Panel, "Meter in series, or across the input, at the controller's sensor input while the sensor is covered and uncovered: a signal that moves there while the reading stands is the input, gateway or program; one that stands there is the sensor."},
			{Desk, "The program that copies this point, then the converter or gateway that carries it: have it restarted only when its other points can be missed for that time."},
		},
	},
	SensorImplausible: {
		Name: "sensor-implausible", Part: "sensor", Severity: "medium", Title: "the daylight sensor does not see the day",
		Needs: Daylight | Sun,
		Ends:  "the sensor sees the day again",
		Says:  "The daylight sensor of {zones} reads {lux} lux where it used to read about {usual} lux, with the sun at {elevation} degrees: it is covered, turned, or sees the electric light.{many}",
		Checks: []Check{
			{Desk, "Look at the sensor from the floor: whether something covers it (a poster, paint, snow or dirt on what is above), it has been turned or has come loose, or a lamp or a shelf stands in its view."},
			{Desk, "Compare its reading with the sky at noon and after dark, and with the lamps of the zone off and on: a reading that jumps with the lamps sees them; one that falls as the day brightens is connected the wrong way round, or its scale is turned."},
			{Desk | ByHand, "Shine a lamp on it: with a reading that rises the signal is well, and it is what the sensor looks at."},
		},
	},
	ZonesCrossed: {
		Name: "zones-crossed", Part: "wiring", Severity: "high", Title: "two zones are crossed",
		Needs: loopPoints, Sharper: Power,
		Says: "Of {zones} each zone's feedback follows the command of the other: their wires are exchanged, and both loops run away.",
		Checks: []Check{
			{Desk | ByHand, "If the site agrees, set the command of one of the two by hand to 50 %: lights of the other zone that move are exchanged command wires; lights of its own with a feedback that moves in the other zone are exchanged feedback wires."},
			{Panel, "Follow the wires of command and feedback of both zones from the controller's terminals to the interfaces; what was worked on last is the first place to look. Exchange back one kind only."},
			{Desk, "At the controller: whether the point list or the program exchanges the two, where no wire was touched."},
		},
	},
	RepairIncomplete: {
		Name: "repair-incomplete", Part: "pair", Severity: "urgent", Title: "the repair is not complete",
		Needs: loopPoints, Sharper: Power, ProofSeconds: pairProof,
		Says: "The short is back: the pair reads {volts} V again after a spell in which it was well or its connector was off. The repair did not reach all of the fault, or there is a second ground.",
		Checks: []Check{
			{Lit | Unplug, "Unplug the pair and measure the gear side, each conductor to the chassis: a conductor pinned at 0 V while the other reads about 12 V is a ground that remains. One of two grounds that was lifted hides the other: the zone looks repaired with the connector off, and is shorted with it on."},
			ohmsTest, bridgeTest, halfSplit,
			{Desk, "Ask who worked on the zone and where: the second place is often at the next fixture of the same make of mounting, or where the first repair squeezed the cable."},
		},
	},
	DeviceLost: {
		Name: "device-lost", Part: "network", Severity: "high", Title: "a device does not answer",
		Ends: "the device answers again",
		Says: "Device {device} does not answer; its zones cannot be judged: {zones}.",
		Checks: []Check{
			{Panel, "Whether other devices on the same line or gateway answer; then the device's supply, its address and unit, and the line or switch port to it."},
			{Desk, "Whether another master holds the device's only connection."},
		},
	},
	PointsStale: {
		Name: "points-stale", Part: "network", Severity: "high", Title: "the points of a device stand still",
		Ends: "the device's points move again",
		Says: "Device {device} answers, but every value it gives repeats the one before to the last digit: it, or the gateway before it, gives out old values. Its zones cannot be judged: {zones}.",
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
