package plan

// A Reach is what a set-up can show at a point.
type Reach struct {
	HeadroomDB float64   // the largest attenuation that is not limited by the receiver
	OutOfReach []float64 // those of the targets that exceed it, dB, in the order given
	MissingDB  float64   // what the highest target lacks: more generator level, gain or antenna; 0 where none is out of reach
}

// Headroom returns what a set-up can show.
//
//	headroom = open - floor - margin
//
// openDBM is the level without the box and floorDBM what the receiver shows with
// the generator off, both less generator level and net gain where these differ;
// marginDB >= 0 is how far above the floor a closed reading must stand to count
// (6 dB is common practice, from memory of an annex of IEEE Std 299). A target
// equal to the headroom can just be shown.
func Headroom(openDBM, floorDBM, marginDB float64, targets ...float64) (Reach, error) {
	if err := finite("level", openDBM, floorDBM); err != nil {
		return Reach{}, err
	}
	if err := notNegative("floor margin", marginDB); err != nil {
		return Reach{}, err
	}
	if err := finite("target", targets...); err != nil {
		return Reach{}, err
	}
	r := Reach{HeadroomDB: openDBM - floorDBM - marginDB}
	if err := finite("headroom", r.HeadroomDB); err != nil {
		return Reach{}, err
	}
	for _, t := range targets {
		if t > r.HeadroomDB {
			r.OutOfReach = append(r.OutOfReach, t)
			r.MissingDB = max(r.MissingDB, t-r.HeadroomDB)
		}
	}
	return r, finite("missing level", r.MissingDB)
}
