// Package scheduler says when to look, and nothing more.
//
// A [Rule] is a calendar rule in the station's time zone: pure, it answers
// which instants it means. An [Alarm] is the one timer of the program: it ticks
// when the next instant has come.
//
// The contract of a tick is "look now", never "send". Whoever receives it works
// out from its own records what is due at that time, and sets the alarm to the
// next time that matters. So a tick too many does no harm, and one that was
// missed costs nothing: look once at start, and [Rule.Last] tells which instant
// of the rule went by meanwhile.
//
// A date that falls due is never a Rule: "on the 31st" has no answer in most
// months. Such dates are kept as dates, and a rule only says when to go through
// them.
package scheduler
