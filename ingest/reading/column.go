package reading

// A Column is a column of the long format, whatever its unit or synonym.
type Column uint8

// The columns. Method to ReceiverIn must agree between the open and the closed
// reading of a pair; Operator to Note are kept beside.
const (
	Run Column = iota
	Session
	Date
	Box
	Gasket
	Fitting
	Installed
	Closing
	Sweep
	State
	Freq
	Level
	Floor
	Tx
	Gain
	Atten
	Position
	Polarization
	Reference
	Method
	Receiver
	RBW
	Detector
	Hold
	Antenna
	ReceiverIn
	Operator
	Latch
	Torque
	Temp
	Humidity
	Battery
	Note
	Columns // how many there are

	FirstContext = Method
	LastPaired   = ReceiverIn
	Contexts     = int(Columns - FirstContext)
)

var names = [Columns]string{"run", "session", "date", "box", "gasket", "fitting", "installed", "closing", "sweep",
	"state", "freq_hz", "level_dbm", "floor_dbm", "tx_dbm", "gain_db", "atten_db", "position", "polarization", "reference",
	"method", "receiver", "rbw_hz", "detector", "hold", "antenna", "receiver_in",
	"operator", "latch", "torque_nm", "temp_c", "humidity_pct", "battery_v", "note"}

// Name is the column's plain name, the first of those with several units.
func (c Column) Name() string { return names[c] }

// IsText reports whether the column holds labels, kept as codes.
func (c Column) IsText() bool {
	switch c {
	case Run, Date, Installed, State, Freq, Level, Floor, Tx, Gain, Atten:
		return false
	}
	return true
}

// A Unit is that of a level as it was written.
type Unit uint8

// Units of a level. Decibel is relative to the generator: an S21.
const (
	NoUnit Unit = iota
	DBm
	DBuV // decibels above a microvolt, into 50 ohm
	Decibel
	Attenuated // no level: the attenuation itself
)

// String gives the unit as it is written in outputs; empty for NoUnit.
func (u Unit) String() string { return [...]string{"", "dBm", "dBuV", "dB", "attenuation"}[u] }

// Relative reports whether the level is relative to the generator and so never
// pairs with an absolute one.
func (u Unit) Relative() bool { return u == Decibel }

// dBuVToDBm is -90 - 10 log10(50): 1 uV into 50 ohm is 20 fW.
const dBuVToDBm = -106.98970004336019

// Offset is what turns a level as written into dBm; 0 where there is nothing to
// convert.
func (u Unit) Offset() float64 {
	if u == DBuV {
		return dBuVToDBm
	}
	return 0
}

// MostDB bounds every level, gain and attenuation, in dB or dBm from zero: beyond it no
// receiver reads.
const MostDB = 1000

// A Kind says what the reading was taken of.
type Kind uint8

// Kinds of reading. Direct is an attenuation given as such.
const (
	Open Kind = iota
	Closed
	Noise
	Direct
)

// Word is the kind's word in the column state.
func (k Kind) Word() string { return [...]string{"open", "closed", "floor", "closed"}[k] }
