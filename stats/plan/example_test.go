// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package plan_test

import (
	"fmt"

	"sealbound/stats/plan"
)

// How often to close one box in one session, if closings vary by 1.5 dB and the
// true mean lies 2 dB above the target?
func ExampleClosings() {
	c, err := plan.Closings(1.5, plan.Aim{MarginDB: 2, Confidence: 0.95, Power: 0.8})
	fmt.Printf("%d closings, power %.3f %v\n", c.Closings, c.Power, err)
	// Output: 6 closings, power 0.874 <nil>
}

// How many closings without a single one below the target show that 90 % of all
// closings lie above it, with confidence 0.95? And if one may fail? (29 and 46
// stand in tables of such plans.)
func ExampleFailures() {
	plans, err := plan.Failures(0.90, 0.95, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range plans {
		fmt.Printf("%d of %d may fail, confidence %.3f\n", p.Failures, p.Closings, p.Attained)
	}
	// Output:
	// 0 of 29 may fail, confidence 0.953
	// 1 of 46 may fail, confidence 0.952
}

// What can a set-up show with -31 dBm in the open and a floor of -104 dBm?
func ExampleHeadroom() {
	r, err := plan.Headroom(-31, -104, 6, 50, 70)
	fmt.Printf("%.0f dB; %.0f dB are out of reach by %.0f dB %v\n", r.HeadroomDB, r.OutOfReach[0], r.MissingDB, err)
	// Output: 67 dB; 70 dB are out of reach by 3 dB <nil>
}

// The cheapest campaign whose bound speaks of new boxes: boxes cost 5, sessions
// 20, closings 1.
func ExampleCheapest() {
	spread := plan.Variances{Box: 2.2, Session: 0.5, Visit: 0.2, Closing: 1.2} // dB^2
	aim := plan.Aim{MarginDB: 3, Confidence: 0.95, Power: 0.8}
	o, err := plan.Cheapest(spread, aim, plan.Costs{Closing: 1, Session: 20, Box: 5}, plan.Limits{})
	fmt.Printf("%d boxes, %d sessions, %d closings each: %.0f, power %.2f %v\n",
		o.Layout.Boxes, o.Layout.Sessions, o.Layout.Closings, o.Cost, o.Power, err)
	// Output: 5 boxes, 3 sessions, 1 closings each: 100, power 0.89 <nil>
}
