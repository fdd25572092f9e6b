package spread

import (
	"fmt"

	"sealbound/stats/band"
	"sealbound/stats/judge"
)

// values reduces the readings to band values at the points that are never limited;
// limited are those left out for it, by code. reason says why there are no values.
func (d Data) values() (v *band.Result, limited []int32, reason string, err error) {
	v, err = d.Values(d.DB)
	if err != nil {
		return v, nil, "", err
	}
	if v.Reason != band.None {
		return v, nil, string(v.Reason), nil
	}
	at := make([]bool, d.Points)
	for i, p := range d.Point {
		at[p] = at[p] || d.Limited[i]
	}
	for _, p := range v.Used {
		if at[p] {
			limited = append(limited, p)
		}
	}
	switch all := len(v.Used); {
	case len(limited) == 0:
		return v, nil, "", nil
	case len(limited) == all:
		return v, limited, "every point is at the receiver's floor in some closing, and what stands at the floor hides its spread", nil
	case 2*(all-len(limited)) < all:
		return v, limited, fmt.Sprintf("%d of %d points are at the receiver's floor in some closing, and what stands at the floor hides its spread: fewer than half are left", len(limited), all), nil
	}
	clear := d.without(at)
	if v, err = clear.Values(clear.DB); err != nil {
		return v, limited, "", err
	}
	return v, limited, string(v.Reason), nil
}

// without leaves out the readings at some points.
func (d Data) without(out []bool) judge.Data {
	k := d.Data
	k.Closing, k.Point, k.DB, k.Limited = nil, nil, nil, nil
	for i, p := range d.Point {
		if !out[p] {
			k.Closing, k.Point = append(k.Closing, d.Closing[i]), append(k.Point, p)
			k.DB, k.Limited = append(k.DB, d.DB[i]), append(k.Limited, d.Limited[i])
		}
	}
	return k
}
