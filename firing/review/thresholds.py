"""Every threshold of a review, by what it decides.

Each says what it is for and, in brackets, its unit and where it comes from:

- ``made firings``: chosen so that firings made by the tests' log maker, whose faults are known, are
  told rightly; no log of a real kiln stands behind it.
- ``practice``: common practice, no source.
- ``choice``: how finely a thing is looked at; the answer hardly depends on it.
- anything else: an entry of ``firing sources``, or another of these values.
"""

# A channel on an even grid

GRID_S = 60.0
"""Step of the grid; a log with fewer readings keeps its own [s; choice]."""
SLOPE_HALF_WINDOW_S = 300.0
"""A slope looks so far either way, and bends so much sooner than the readings do [s; choice]."""
SPIKE_C = 25.0
"""So far from the median of five is a lone spike: no peak is that sharp [°C; practice]."""
BEHIND_SET_POINT_C = 6.0
"""Further behind its set-point a controller gives all it has [°C; practice]."""

# What a minute of a log costs against a state of the plan; one of a ramp going backwards costs 1

STANDING_SHARE = 0.25
"""A ramp slower than this share of its rate begins to look like a hold [1; made firings]."""
STANDING_COST = 1.3
"""A minute of a ramp that stands still: dearer than a hold elsewhere [min; made firings]."""
OTHER_HOLD_COST = 0.5
"""A minute of a hold at quite another temperature: a flat stretch is a hold [min; made firings]."""
UNPLANNED_HOLD_COST = 6.0
"""A hold where the plan has none [min; made firings]."""
SKIPPED_HOLD_COST = 6.0
"""No hold where the plan has one [min; made firings]."""
IDLE_C_PER_H = 15.0
"""A kiln that is off wanders by half of this [°C/h; made firings]."""
FALLING_SHARE = 0.15
"""After the program a fall at this share of the natural rate looks like cooling, or like segments
that the plan does not have [1; made firings]."""
ABORT_COST = 20.0
"""Leaving the plan before its end [min; made firings]."""
LATE_ENTRY_COST = 20.0
"""A log that begins inside the plan [min; made firings]."""
PASSED_ENTRY_COST = 0.1
"""… above the ends of the segments before, which it cannot be on its way to [min; choice]."""
LED_IDLE_COST = 3.0
"""… and which an idle kiln does not stay above, of a minute [1; choice]."""
ARRIVAL_SCATTER_C = 5.0
"""A ramp that ends so far from its target costs a minute [°C; made firings]."""
ARRIVAL_COST_MOST = 30.0
"""… and no more than this, however far [min; made firings]."""
STAYING_COST_MOST = 20.0
"""Arriving elsewhere and staying is likelier meant than passing [min; made firings]."""
SHORTEST_HOLD_S = 360.0
"""For less the top of a ramp that turns at once looks flat too [s; made firings]."""
NEAR_TOP_C = 5.0
"""The last reading so near to the highest ends the heating [°C; made firings]."""

# The corners of a segment

HOLD_SCATTER_C = 4.0
"""Readings so near to a hold are as good as on it; controllers hold so well [°C; practice]."""
ARRIVAL_OVERSHOOT_C = 10.0
"""Further past its target a ramp was sent elsewhere: no controller overshoots more before a hold
[°C; practice]."""
EDGE_SEARCH_S = 900.0
"""A corner lies so near to where the chain of states has it [s; made firings]."""
HOLD_MEDIAN_S = 300.0
"""A hold of this length has a temperature of its own [s; choice]."""
HOLD_END_S = 900.0
"""A hold's end is judged by its last minutes: one that overshot sags for hours [s; choice]."""
START_LAG_S = 600.0
"""A kiln shows nothing of a ramp's first minutes: a shorter lead-in is none [s; made firings]."""
LAST_STRETCH_S = 300.0
"""From within tolerance to the target itself it takes no longer than this [s; choice]."""
MOVING_C_PER_H = 5.0
"""A slower slope tells nothing of that last stretch [°C/h; choice]."""
CREEPING_S = 1800.0
"""A stay this long that rises towards its target is told from a hold [s; made firings]."""
CREPT_C = 2.0
"""… which begins so near to where the creeping ended [°C; made firings]."""
STILL_C = 3.0
"""A stay past its target moves by no more than this [°C; made firings]."""
MEANT_STAY_S = 540.0
"""A stay of this long was meant: corners are rounded over less [s; made firings]."""
OTHER_TARGET_C = 8.0
"""A stay this far from its target was sent there [°C; made firings]."""

# Where a firing begins and ends

ONE_CONE_C = 25.0
"""About a cone at the peak: so far short of it no controller that waits goes on by itself, and a
plan so far off its peak asks for action [°C; cone-chart-1996]."""
STOP_SETTLE_S = 120.0
"""Just after the elements are off the readings still bend [s; choice]."""
AFTER_STOP_S = 1200.0
"""… and over this long they tell how a kiln cools [s; choice]."""
DROPPING_FACTOR = 1.5
"""A fall so much faster than the next segment's rate is a kiln left alone [1; made firings]."""
ON_TIME_S = 600.0
"""A program that ends so near to its planned length ran by the clock [s; made firings] …"""
ON_TIME_SHARE = 0.02
"""… or within this share of it [1; made firings]."""
AT_LAST_TARGET_C = 3.0
"""A log that ends so near to the last target holds the program's end [°C; made firings] …"""
DUE_C = 15.0
"""… or so near, if the program was due to end by then [°C; made firings]."""
HOLD_LACKS_S = 600.0
"""A last hold that lacks less than this was held [s; made firings]."""
CORNER_LEAST_S = 120.0
"""A hold's soft end moves by at least … [s; made firings]"""
CORNER_MOST_S = 900.0
"""… and at most this much [s; made firings]."""
SWITCHED_OFF_SHORT_C = 4.0
"""So far short of its peak a kiln that climbed well was switched off [°C; made firings]."""
NO_STAY_S = 600.0
"""The rounded top of a ramp looks like a stay of this length at most [s; made firings]."""
LAST_CLIMB_S = 1200.0
"""A ramp's last climb is judged over this long, as is the fall after it [s; choice] …"""
STAYED_S, STAYED_C = 900.0, 10.0
"""A kiln that falls by less over so long after its top was held there, not switched off
[s, °C; cooling-default] …"""
TOP_S = 300.0
"""… without the minutes that the slope of its top reaches into [s; `SLOPE_HALF_WINDOW_S`]."""
AT_RATE_SHARE = 0.88
"""A kiln that kept this share of its rate to the last was not at its limit [1; made firings]."""
WARM_START_C = 60.0
"""No kiln is so much warmer than its program's start and climbing already [°C; made firings] …"""
BEGUN_OVER_S = 300.0
"""… over its first minutes [s; choice] …"""
CLIMBING_SHARE = 0.7
"""… at this share of the first rate [1; made firings]."""
REACHED_C = 1.5
"""A running firing has come to a target this near [°C; made firings]."""
CUT_SHORT_C, CUT_SHORT_S = 40.0, 900.0
"""A running firing that falls so far below the target of its ramp, and so long before the plan's
clock is there, has lost its power: nobody led it down [°C, s; made firings]."""
SWINGS_BEFORE_S, SWINGS_ON = 300.0, 1.3
"""A hold swings on where it was as far away so long ago, or nearly so above [s, -; made
firings]."""
NOT_HELD_C = 10.0
"""A stay further than this from its target is no hold but a kiln that does not get there
[°C; made firings]."""

# How a ramp ran

SAME_RATE = 0.04
"""Rates so close are the same: a controller holds one to 1 or 2 %, and ten minutes of 1 °C readings
tell it to about 2 % [share; practice]."""
SAME_RATE_LOOSEST = 0.25
"""Slopes further from a rate are never taken for it, however noisy [share; made firings]."""
RAMP_CORNER_S = 600.0
"""At both ends of a ramp its slope is left out over this long [s; `SLOPE_HALF_WINDOW_S`] …"""
RAMP_CORNER_SHARE = 0.15
"""… or this share of it [1; choice]."""
STRAIGHT_SHARE = 0.4
"""A ramp ran at a set rate if this share of it kept one [1; made firings] …"""
BEND_MOST = 0.025
"""… whose rate fell by less than this from begin to end [share; made firings] …"""
SETTLING_MOST = 0.3
"""… or rose by less than this, as after a corner that was overshot [share; made firings]."""
FADING_BEND = 0.12
"""A whole ramp that slowed by more than this faded, whatever part of it looks straight
[share; made firings]."""
SETTLED_FROM = 0.3
"""A controller has settled after this share of a ramp [1; made firings] …"""
STEADY_SHARE = 0.96
"""… and then keeps this share of its rate to the end [1; made firings]."""
KEPT_OVER_C = 40.0
"""Over a shorter climb a kiln at its limit looks as straight as a set rate [°C; made firings]."""
BEHIND_SHARE = 0.9
"""A ramp is behind below this share of its rate [1; made firings]."""
LOSING_SHARE = 0.97
"""Time is being lost below this share of a ramp's rate [1; made firings]."""
FULL_DUTY = 0.95
"""From this share of full power on the elements count as fully on [1; practice]."""
MOSTLY_ON = 0.5
"""Fully on for this share of a delay or a stay, the kiln was short of power [1; choice]."""
FADING_S = 1800.0
"""A fade is told over this long [s; made firings] …"""
FADING_OVER_C = 10.0
"""… and over this much: on a stay the readings only wander [°C; made firings] …"""
FADING_TO = 0.92
"""… if the rate sinks to this share; at its limit a kiln makes 168 °C/h at 1000 °C and 123 at 1200
[1; full-power-default]."""
FALL_C = 12.0
"""A fall by so much while heating is due is an interruption: well above a controller's overshoot of
a few °C [°C; practice]."""
REGAINED_C = 6.0
"""… that is over once the readings are back this near [°C; made firings]."""

# A ramp of several straight stretches

MOST_PIECES = 7
"""More stretches than a program has segments are a bend [number; choice]."""
MOST_POINTS = 180
"""So many points of a ramp are looked at; the work grows with their square [number; choice]."""
THROUGH_C = 1.2
"""Straight stretches pass so near to the readings, root mean square: a controller's ripple and its
rounded corners [°C; made firings]."""
PIECE_FLAT_S = 600.0
"""A stay in the middle of a ramp is told from this length on [s; made firings] …"""
PIECE_FLAT_C = 10.0
"""… if the readings moved by no more than an overshoot [°C; practice] …"""
PIECE_FLAT_SHARE = 0.12
"""… and by so small a share of the ramp's rate [1; made firings]."""
PIECE_FASTER_C = 20.0
"""A stretch faster than planned was keyed in, even one this short [°C; made firings]."""
PIECE_S = 1800.0
"""Another rate is told of a stretch this long [s; made firings] …"""
PIECE_C = 60.0
"""… and this high: over less a kiln at its limit hardly bends [°C; full-power-default]."""
POWER_IN_HAND = 0.55
"""A stretch at this share of a later, hotter rate had power in hand: a supply that was low for a
while makes up less [1; made firings]."""
LIMITED_AFTER_S = 2700.0
"""Into the next segment a kiln is watched this long for going on as slowly [s; made firings]."""

# What is a cause, and of how much

CAUSE_LEAST_S = 120.0
"""Edges are found to a minute or two: less is given no cause [s; made firings]."""
SHORT_RAMP_S = 1200.0
"""A shorter ramp does not tell its rate's course [s; made firings]."""
OTHER_BEGIN_S = 300.0
"""Beginning or ending elsewhere is told if it is worth this much of a ramp [s; made firings]."""
LAG_S = 900.0
"""By the clock a hold counts from when the set-point arrives: up to so much of a late arrival is
the hold's shortfall at once, and neither is a cause [s; made firings]."""
DRYING_C = 250.0
"""Up to here a hold is there to drive water out, not for heat-work [°C; practice]."""
LATE_SHARE = 0.5
"""A ramp was faster to make up for a delay of at least this share of it [1; made firings]."""
LOST_LEAST_S = 300.0
"""Less lost is nothing to make up [s; made firings]."""
MADE_UP_SHARE = 1.2
"""A program faster by more than this share of what was lost was keyed in so [1; made firings] …"""
MADE_UP_S = 300.0
"""… give or take the edges' own error [s; made firings]."""

# What only a program, or the hand at its keys, can have done

CHANGE_LEAST_S = 600.0
"""Less that a segment lacks or has over is a corner, a lag or a late arrival [s; made firings]."""
SKIPPED_HOLD_SHARE, SKIPPED_HOLD_S = 0.25, 300.0
"""A hold is skipped if no more than this share of it was held, or no longer than this
[1, s; made firings]."""
NEVER_RUN_SHARE = 0.1
"""A segment that took so little of its time was never run [1; made firings]."""
ON_TIME_BEFORE = 0.25
"""… unless more than this share of its time had been lost before it [1; made firings]."""
TWICE_SHARE = 0.1
"""A hold this near to twice its length, or three times, ran again [share; made firings]."""
LEFT_TO_COOL = 1.1
"""Cooling so many times as fast as set was left to itself [1; made firings]."""
REPLAY_C, REPLAY_S = 40.0, 1200.0
"""A climb again is compared with a segment's rate over so much and so long [°C, s; choice] …"""
REPLAY_RATE = 0.06
"""… and has it if it is this near; rates that differ by less than twice this tell no segment from
the next [share; made firings]."""
REPLAY_HELD = 0.6
"""A hold again is one of a planned segment from this share of it on [1; made firings]."""
REPLAY_TURN_C = 12.0
"""A fall that turns so near to an earlier target was sent there [°C; made firings]."""
CHANGED_FROM = 0.12
"""A rate that changes later than this share of a ramp was changed while it ran [1; choice]."""

# Whether a log is one of the plan at all

UNRELATED_PEAK_C = 100.0
"""No sensor's error, overshoot or missing hold moves a peak so far [°C; practice]."""
UNRELATED_RATE = 0.15
"""A ramp within this share of its rate speaks for the plan [1; made firings] …"""
UNRELATED_SPAN_C = 50.0
"""… if the log shows so much of it [°C; made firings] …"""
UNRELATED_SPAN_S = 600.0
"""… over so long [s; made firings]."""
PLANNED_HOLD_S = 900.0
"""A planned hold of at least this length is looked for [s; made firings] …"""
PLANNED_HOLD_SHARE = 0.5
"""… and is there if this share of it is [1; made firings]."""
OWN_HOLD_S = 1200.0
"""So long at a log's top [s; made firings] …"""
OWN_HOLD_C = 5.0
"""… within this [°C; made firings] …"""
OFF_TARGET_C = 25.0
"""… and this far from every target was meant [°C; made firings] …"""
SLOWING_OVER_S = 1800.0
"""… if over this long [s; made firings] …"""
SLOWING = 0.7
"""… the ramp before it had not slowed below this share, as a kiln at its limit does
[1; made firings]."""
OTHER_PLAN_STAY_S = 600.0
"""Above the plan's peak a shorter stay was meant, too: a relay that sticks never stays
[s; made firings]."""
IDLE_C = 30.0
"""A log that rises by less is of no firing [°C; practice] …"""
IDLE_SHARE = 0.5
"""… or by less than this share of its first ramp [1; made firings] …"""
IDLE_FACTOR = 2.0
"""… if it is so many times as long as that [1; made firings]."""

# Whether a running firing is of another program

BEGUN_COLD_C = 40.0
"""A watch that begins no further above the program's start saw it begin [°C; practice]."""
AHEAD_SHARE = 0.03
"""A kiln may be above its plan by this share, or by `OFF_TARGET_C`: two sensors may differ so
[1; practice] …"""
AHEAD_S = 900.0
"""… and by any overshoot for less than this [s; made firings]."""
BEGUN_BEFORE_S = 900.0
"""A kiln that is warm when the watch begins may lag so far behind its program [s; practice]."""
LED_ABOUT_S = (2700.0, 3600.0, 5400.0)
"""One that is ahead was led there if its rate is one for so long before and after it left its plan
behind: a relay that stuck makes a corner [s; made firings]."""
NOT_FULL_POWER, LED_LEAST_C_PER_H = 0.35, 20.0
"""… or one for the shorter of these later on, less than this share of a usual kiln's full power,
which the weakest that comes so far has, and more than a swing's [1, °C/h; full-power-default] …"""
LED_BEND = 0.2
"""… and that rate changes by no more than this share [1; made firings]."""
COLD_FROM_C, COLD_TO_C = 60.0, 225.0
"""A climb that begins between these is easy for every kiln [°C; practice] …"""
SLOW_OVER_C = (100.0, 150.0, 200.0, 300.0)
"""… and is looked at over so much of it [°C; choice]."""
SLOW_BEND_KNOWN = 0.2
"""Its bend has to be known this well, as a share of its rate [1; made firings] …"""
STRAIGHT_WITHIN_C = 6.0
"""… and the readings be this near to its line, root mean square [°C; made firings] …"""
SLOW_SHARE = 0.65
"""… as does that it runs at less than this share of the lowest rate planned there: a clock that
waits for a relay's wide swing leads it at three quarters [1; made firings] …"""
SLOW_SHARE_SMOOTH, SMOOTH_C, SMOOTH_STEP_S = 0.85, 1.5, 60.0
"""… or this one, where readings this frequent have no swing [1, °C, s; made firings]."""
RUNNING_STAY_S = 3600.0
"""A stay this long is no pause at the kiln's door [s; practice] …"""
STAY_WITHIN_C, STAY_LOOKS = 10.0, 12
"""… that swings by no more than this, besides noise, looked for from so many moments of its
length on [°C, number; made firings] …"""
STAY_FROM_C = 80.0
"""… above what a relay's first swing comes back to [°C; made firings] …"""
ANY_POWER_C = 350.0
"""… and up to here a third of the power sustains more than a stay [°C; made firings]."""

# Which of many plans and kilns a log is of

PLAN_STEP_C = 25.0
"""Times are compared from one temperature to the next, so far apart [°C; choice] …"""
PLAN_FROM_C = 75.0
"""… from here up, as a kiln begins warm or idle [°C; practice]."""
PLAN_PEAK_S_PER_C = 60.0
"""What a degree at the peak counts for [s/°C; made firings]."""
PLAN_STOPPED_C = 40.0
"""Further below its target a firing was stopped early [°C; made firings] …"""
PLAN_STOPPED_S_PER_C = 6.0
"""… and a degree more counts for so much [s/°C; made firings]."""
PLAN_KILN_SHARE = 0.3
"""What a weak kiln or supply explains is little of a sign against a plan [1; made firings]."""
PLAN_OUTRUN = 2.0
"""A log ahead of its program counts so much more than one behind it [1; made firings]."""
PLAN_FREE_SHARE = 0.3
"""What full power and natural cooling take is no sign of a plan [1; made firings]."""
PLANS_REVIEWED = 3
"""So many plans at most are reviewed [1; choice] …"""
PLAN_ROUGH_SHARE = 1.6
"""… that come within this of the nearest [1; made firings] …"""
PLAN_ROUGH_S = 900.0
"""… and this [s; made firings]."""
PLAN_CLEAR = 1.5
"""A plan is sure if no other leaves less than this multiple to explain [1; made firings]."""
PLAN_SURE_SHARE = 0.12
"""With more of the heating to explain a plan is not sure [1; made firings] …"""
PLAN_NONE_SHARE = 0.75
"""… and with more than this the log is of none of the plans [1; made firings]."""
KILN_CLEAR = 0.12
"""Two kilns further apart than this are told apart [log of a ratio; made firings]."""
KILN_COOLS_FROM_C = 900.0
"""Cooling is compared from here, as lids and programs have their say above [°C; choice] …"""
KILN_COOLS_TO_C = 150.0
"""… to here, before anybody opens a lid [°C; practice] …"""
KILN_COOLS_OVER_C = 200.0
"""… if both show so much of it [°C; choice]."""

# Cooling after the program

INVERSIONS_C = (573.0, 226.0)
"""Where quartz and cristobalite invert [°C; quartz-inversion-entry: 573, and 220 to 270]."""
AROUND_C = 15.0
"""A rate through a temperature is that from so far above to so far below it [°C; choice]."""
COOLED_LEAST_C = 20.0
"""Cooling is reviewed once the log follows it down this far [°C; choice]."""
COOLING_SETTLE_S = 1800.0
"""A kiln cools fastest within this time of its elements going off: what quickens later had help
[s; made firings]."""
COOLING_SMOOTH_S = 900.0
"""Half of what a rate of cooling is a mean over [s; choice]."""
QUICKER_FACTOR = 1.3
"""Cooling so many times quicker than it was has been helped; by itself it only ever slows
[1; made firings] …"""
QUICKER_C_PER_H = 8.0
"""… and by so much more [°C/h; made firings]."""
QUICKER_BEGIN_SHARE = 1.12
"""It began where the rate last was within this share of the slowest [1; made firings]."""
COLD_C = 60.0
"""Below this a kiln is opened anyway [°C; practice]."""
POWERED_S = 1800.0
"""A straight fall over this long [s; made firings] …"""
POWERED_C = 60.0
"""… and this much is run under power: a kiln left to itself slows by a tenth and more over it
[°C; cooling-default]."""
POWERED_STAY_C = 5.0
"""A stay after the plan's end moves by no more than this [°C; made firings]."""
MOST_EXTRA = 4
"""So many stretches are looked for after the plan's end [number; choice]."""

# Heat-work and the channels

NO_TEMPERATURE_C = -100.0
"""Below this a reading, such as one of swapped leads, has no heat-work [°C; choice]."""
NEAR_PEAK_C = 3.0
"""Heating ended when the readings last were so near to their highest [°C; made firings]."""
ENOUGH_READINGS = 8192
"""So many readings of another channel tell its cones: of a day they stand 10 s apart
[number; choice]."""
EXPOSURE_READINGS = 4000
"""So many readings of another channel tell its hours in the heat [number; choice]."""
PEAK_S = 600.0
"""Channels are compared over so long about the kiln's highest reading [s; choice] …"""
LAST_HOUR_S = 3600.0
"""… and over the last hour of the heating [s; choice]."""
ELSEWHERE_C = 200.0
"""A channel this far below the hottest sits outside the chamber, or is dead [°C; practice]."""
HOT_C = 1000.0
"""Time above this is told [°C; practice]."""
READING_H = 0.5
"""A witness cone is read to about half an hour of its clock [h of the clock; practice]."""
FURTHEST_C = 150.0
"""Readings off by more mean another cone, another firing or a broken sensor [°C; practice]."""
QUESTIONED_OFFSET_C = 25.0
"""About a cone: an offset beyond it is asked back before anybody counts with it
[°C; `ONE_CONE_C`]."""

HOLD_OFF_S = 300.0
"""A hold this much off its length may move the cone [s; practice]."""
REFIRE_C_PER_H = 100.0
"""Fired ware is heated no faster than this up to red heat [°C/h; refiring-practice]."""

# Two firings beside each other

COMPARED_S = 600.0
"""Two firings of one program in one kiln are this close, segment by segment [s; practice] …"""
COMPARED_SHARE = 0.05
"""… or within this share of it [1; practice]."""
COMPARED_COOLING_SHARE = 0.1
"""… and cool within this share of each other [1; practice] …"""
COMPARED_COOLING_C = 100.0
"""… over at least so much [°C; choice]."""
COMPARED_C = 5.0
"""Highest readings or spreads this far apart are told [°C; practice]."""
TELLING_CONES = 0.2
"""Less is not seen on the ware: half an hour of a cone's clock is as much [cones; practice]."""

# What is worth a finding, and how pressing it is

EXACTLY_S = 180.0
"""Closer to its plan is as planned: edges are found to a minute or two [s; made firings]."""
WORTH_TELLING_S = 900.0
"""A firing so much off its plan is told as such [s; practice] …"""
WORTH_TELLING_SHARE = 0.02
"""… if it is also this share of the plan [1; practice]."""
LATE_S, LATE_SHARE_OF_PLAN = 1800.0, 0.10
"""A firing later than both of these asks for action [s, share of the plan; practice]."""
TOLD_CAUSE_S = 300.0
"""A cause of less is left out of the sentence [s; practice]."""
PEAK_OFF_C = 5.0
"""A peak this far off is told [°C; practice]."""
CAME_C = 5.0
"""A segment that came so near to its target had come to it [°C; practice]."""
CAME_NEARLY_C = 10.0
"""Switched off so near to its target, a kiln may have had its hold skipped [°C; practice]."""
PEAK_OVERSHOOT_C = 15.0
"""By so much controllers overshoot at the end of a ramp [°C; practice]."""
EXTRA_FALL_C = 20.0
"""What fell by less after the plan's end was held [°C; practice]."""
WEAK_RAMP_S = 900.0
"""A shorter ramp does not show a want of power [s; made firings]."""
POWER_LATE_S = 600.0
"""A delay for want of power asks for its cause from this much on [s; practice] …"""
PEAK_MISSED_C = 8.0
"""… as does a peak missed by more than a controller's own error [°C; practice]."""
SAME_CONE = 0.5
"""So near the plan amounts to the cone it is for: a miss is one miss of both [cones; choice]."""
FAR_CONES = 0.5
"""Half a cone off the plan asks for action; less is worth a look [cones; practice]."""
FAR_OFFSET_C = 10.0
"""An offset of about half a cone asks for action [°C; practice]."""
UNEVEN_CONES = 0.5
"""Half a cone between two places is worth a look [cones; practice] …"""
UNEVEN_C = 10.0
"""… or this much over the last hour [°C; practice]."""
EVENING_OUT_S = 900.0
"""Over a shorter stretch of a hold nothing is said of its evening out [s; practice]."""
EVENED_SHARE = 0.9
"""A spread that keeps more than this over a hold is not evening out [1; practice]."""
TWO_SENSORS_C = 12.0
"""Two class 2 thermocouples, each ±9 °C at 1200 as delivered, may differ by about as much in one
place [°C; iec-60584-1]."""
SLOW_CLIMB_S = 900.0
"""A climb so much slower, or a cooling so much quicker, changes the heat-work [s; practice]."""
HEATWORK_BELOW_C = 100.0
"""Further below its peak a firing does next to none of its heat-work: by the law of any cone the
rate falls by a factor of fifty and more in 100 °C [°C; cone-model]."""
OPENED_HOT_C = 300.0
"""Opened above this, ware is at risk from the inversions [°C; quartz-inversion-entry]."""
COOLING_TOLD_C = 300.0
"""After a cooler peak a missing cooling is not remarked on [°C; practice]."""
PACE_C = 150.0
"""Over less the chamber's own heat, soon gone, says more than the kiln's [°C; made firings]."""
TYPE_K_TOP_C = 1372.0
"""End of the type K reference function [°C; nist-srd-60]."""
SAME_NUMBER = 0.05
"""Peak and target within this share are the same number in another unit [1; practice]."""
LOST_SHARE = 0.02
"""More readings lost is worth a look [1; practice] …"""
CLEANED_SHARE = 0.002
"""… and more than this is told [1; practice]."""
COLD_START_C = 60.0
"""A log that begins warmer does not tell swapped leads [°C; practice] …"""
FALLEN_C = 15.0
"""… nor one that falls by less [°C; practice] …"""
RISEN_C = 20.0
"""… or rises by more [°C; practice]."""
NO_ROOM_C = -20.0
"""No room that a kiln stands in is so cold [°C; practice]."""
FREEZING_C = 4.0
"""Studios are seldom so near to freezing [°C; practice] …"""
COLDER_C = 12.0
"""… nor so much colder than their plan says [°C; practice]."""

# What drove the kiln, where a log does not say it

DUTY_BEHIND_SHARE = 0.92
"""A climb slower than this share of its rate is all the kiln can do [1; practice]."""
DUTY_SAME_RATE = 0.06
"""A rate further from the planned one was keyed in [share; made firings]."""
DUTY_SETTLE_S = 900.0
"""Early in a ramp the kiln lags though its elements are not fully on yet [s; made firings]."""
DUTY_STRETCH_S = 1800.0
"""Shorter stretches tell nothing [s; made firings]."""
NEAR_TARGET_C = 8.0
"""So near to its target a controller eases off [°C; practice]."""
DUTY_COOLING_SETTLE_S = 600.0
"""So long after the elements go off nothing is said [s; made firings]."""
LID_BELOW_C = 350.0
"""Above this nobody props a lid: a cooling that quickens had been held back [°C; practice]."""
EVEN_S = 5400.0
"""Over this long natural cooling slows, and controlled cooling does not [s; cooling-default] …"""
EVEN_C = 80.0
"""… if it is also this far down [°C; made firings]."""
LOWEST_C = 130.0
"""Below this a cooling tells of draughts and lids, not of the kiln [°C; practice]."""

# A log as a fit takes it

FIT_STEP_S = 300.0
"""Step of a long firing [s; choice]."""
FIT_SHORT_STEP_S = 150.0
"""Step of a short one [s; choice]."""
FIT_SHORT_S = 6 * 3600.0
"""A firing is short below this [s; choice]."""
FIT_COOLING_STEP_S = 900.0
"""Step of natural cooling [s; choice] …"""
FIT_COARSE_AFTER_S = 2 * 3600.0
"""… after its first hours [s; choice]."""
GAP_S = 1200.0
"""Over a longer gap nothing is said of the elements [s; practice]."""
ROOM_MOST_C = 35.0
"""A log that begins above this begins in a warm kiln [°C; practice]."""
LOGGED_SHARE = 0.5
"""An output missing in more rows is left out [1; practice]."""
LEAST_DUTY = 0.03
"""An output that never differs by more, or is less on average, fired no kiln [1; practice]."""

# What a log lacks

GAP_INTERVALS, GAP_LEAST_S = 5.0, 60.0
"""Readings further apart than so many usual intervals, and so long, leave a gap [number, s;
practice]."""
GAPS_TOLD = 2
"""So many are told one by one [number; choice]."""
GAP_READINGS = 10
"""Fewer readings have no usual interval [number; choice]."""
GAP_PEAK_C = 5.0
"""A gap hides the peak where the kiln could have gone this far above all readings
[°C; `PEAK_OFF_C`]."""
GAP_TELLING_S = 1800.0
"""So much missing is worth a look, wherever it is [s; practice]."""
GAP_CORNER_S = 600.0
"""Of a segment that ends in a gap this long, nobody knows what made it longer [s; practice]."""
GAP_SLOPE_S, GAP_LEAST_C_PER_H = 900.0, 60.0
"""How fast a kiln climbs and falls is taken over so long, and at least so much
[s, °C/h; choice]."""
GAP_MOMENT_S = 1.0
"""What stands for no time at all [s; choice]."""
GAP_CONES, GAP_MOST_CONES = 0.05, 0.15
"""A gap hides heat-work where leaving it out lowers, or the most it could hold raises, the cone by
so much [cones; choice]."""

# Which reason a want of power has; heat as a share of what full power gives in the time

REASON_LEAST_WINDOWS = 2
"""So many half-hours must show what the elements gave [number; choice]."""
REASON_SCATTER = 0.02
"""A half-hour's own scatter [share; made firings]."""
REASON_DRYING_C, REASON_DRYING = 220.0, 0.06
"""Below this, free water and the first corner of a cold kiln leave so much open
[°C, share; made firings]."""
REASON_BOUND_WATER_C, REASON_BOUND_WATER = (440.0, 650.0), 0.30
"""Where raw ware loses its bound water, which nobody weighs, so much is open
[°C, share; made firings]."""
REASON_MODEL, REASON_MODEL_OFF, REASON_MODEL_C = 0.04, 0.015, 200.0
"""What the model of a learnt kiln leaves out, with the elements on and off, and over how many
degrees that stays alike [share, share, °C; made firings]."""
REASON_SUPPLY, REASON_SUPPLY_S = 0.02, 3 * 3600.0
"""What a healthy supply wanders by, as power, and over how long [share, s; practice]."""
REASON_FIT, REASON_FIT_LOSS = 0.03, 0.06
"""How well a fit tells power and capacity, and losses [share; made firings]."""
REASON_LOAD_GIVEN, REASON_LOAD_OPEN = 0.10, 0.12
"""How well a load that was given, and one that was not, is known [share; practice]."""
REASON_OTHER, REASON_OTHER_C = 0.08, 120.0
"""What has none of the marks may lie so far off, over so many degrees [share, °C; choice]."""
REASON_KEPT_UP = 0.05
"""Where a kiln kept up it needed no more power than it had, give or take this [share; choice]."""
REASON_DIP_LEAST_S, REASON_BACK_S = 3600.0, 1800.0
"""A sag is told from this length on, and once it was over for so long [s; choice]."""
REASON_PRIORS = {
    "power": 0.30,
    "step": 0.15,
    "losses": 0.20,
    "load": 0.15,
    "water": 0.04,
    "supply": 0.12,
    "as_learnt": 0.20,
    "unknown": 0.05,
}
"""How often each is met before a log is read [probability; practice]."""
REASON_SIZES = {
    "power": (0.22, 0.13, 0.06),
    "step": (0.30, 0.15, 0.10),
    "losses": (0.30, 0.25, 0.07),
    "load": (0.80, 0.60, 0.20),
    "water": (0.25, 0.20, 0.08),
    "supply": (0.25, 0.13, 0.08),
}
"""How large each is when it is met, as power lost, loss added, load beyond the expected, or full
power gone into steam: what is usual, its scatter, and the least that counts [share; practice]."""
REASON_POSSIBLE, REASON_LIKELY, REASON_SURE = 0.6, 0.8, 0.985
"""From these probabilities on a reason is possible, likely, sure [probability; made firings]."""

REASON_TOLD = 0.01
"""Less probable ones are left out of the sentence [probability; choice]."""
REASON_ODD = 0.3
"""Something else being the matter with more than this, no plan is mended [probability; choice]."""

# What else the heat of a learnt kiln's half-hours shows

STUCK_GIVEN = 0.03
"""With an output below this the elements are told to be off [share; practice] …"""
STUCK_HEAT = 0.12
"""… and heat of this much all the same has another way in [share; made firings] …"""
STUCK_LOAD = 1.3
"""… beyond what a load this many times as far off as the climb shows would give back
[1; made firings] …"""
STUCK_WINDOWS = 2
"""… over so many half-hours [number; made firings] …"""
STUCK_ABOVE_C = 300.0
"""… above this [°C; made firings]."""
DAMP_C = (85.0, 260.0)
"""Free water boils off in this span [°C; practice]."""
DAMP_AFTER_C = 420.0
"""Up to here ware that is dry takes what it should [°C; practice]."""
DAMP_HEAT = 0.10
"""A half-hour that took so much more heat there than it should dried the ware
[share; made firings] …"""
DAMP_KG = 2.0
"""… and water from this much on is told [kg; made firings]."""
WATER_J_PER_KG = 2.6e6
"""Water takes this from 20 °C to steam: 4.19 kJ/(kg K) over 80 K and 2.26 MJ/kg
[J/kg; steam-tables-memory]."""
OPENED_FACTOR = 5.3
"""A fall so many times as fast as the same log's cooling there is more than want of power: walls
not yet warmed through draw up to nearly five times as much [1; made firings] …"""
OPENED_S = 480.0
"""… over its first minutes [s; made firings]."""
LEARNT_COOLING = (0.86, 1.16)
"""A learnt kiln cools within these multiples of its model, as loads differ by a tenth or more
[1; made firings]."""

# A thermocouple that moved

MOVED_ABOVE_C = 400.0
"""Below this two places of a chamber part and meet again as it warms through [°C; made firings]."""
MOVED_AT_ONCE_S, MOVED_C_PER_S = 240.0, 0.12
"""A closed kiln without power falls by 1 to 4 °C a minute where it is hot, never by seven over the
first minutes [s, °C/s; cooling-default] …"""
MOVED_BACK = 4.0
"""… and a lid that is closed again gives most of it back as quickly; a sensor that slid has to be
heated up to, for so many times as long [1; made firings]."""
MOVED_BEFORE_S, MOVED_STEADY_S, MOVED_STEP_S = 3600.0, 1200.0, 300.0
"""Two channels are compared over so long before, and after, every so many seconds [s; choice] …"""
MOVED_LAGS_S = (0.0, 600.0, 1200.0, 1800.0, 2700.0, 3600.0, 5400.0)
"""By so much one place of a chamber may lag behind another [s; choice]."""
MOVED_STEADY = 0.02
"""… where their ratio had been steady to this [share; made firings]."""
MOVED_BEGUN = 0.2
"""It has begun once this share of it is there, and is over once all but this is [1; choice]."""
MOVED_SUDDEN, MOVED_SLIDE_S, MOVED_SLID = 0.03, 7200.0, 0.06
"""A ratio that changes by the first within minutes, or by the last within so long, is that of a
sensor that moved [share, s, share; made firings]."""

# The plan mended for the kiln as found

MEND_ROUNDS = 5
"""So many times rates are slowed and tried again [number; choice]."""
MEND_KEPT = 1.03
"""A ramp that takes no longer than this is kept [1; practice]."""
MEND_MARGIN = 0.98
"""A rate is set a little below what the kiln did [1; practice]."""
MEND_STEP = 5.0
"""Rates are rounded down to this in the plan's unit, slow ones to whole degrees [°/h; practice]."""
MEND_LEAST_HOLD_S = 300.0
"""No hold is cut to less than this [s; practice] …"""
MEND_MORE_HOLD_S = 3600.0
"""… nor lengthened by more [s; practice]."""
MEND_HOLD_ROUNDS = 10
"""A hold is halved in on so many times: to a few seconds [number; choice]."""
MEND_CHARTED_C_PER_H = 15.0
"""No ramp to the peak is slowed below what the chart of cones covers [°C/h; cone-chart-1996] …"""
MEND_LOWER_C = 150.0
"""… a lower peak is looked for down to this much below the plan's [°C; choice] …"""
MEND_BELOW_TOP_C = 10.0
"""… from so far below the highest that the kiln comes to on [°C; choice] …"""
MEND_C_PER_CONE = 15.0
"""… where a cone is about so many degrees, to begin with [°C; cone-chart-1996] …"""
MEND_PEAK_ROUNDS = 12
"""… at so many peaks at most [number; choice] …"""
MEND_CONES_OVER = 0.07
"""… until the cone is down and no more than this over: a degree is as much [cones; choice]."""
MEND_COOLED_C = 100.0
"""A course is followed so far below its end: what comes after moves no cone [°C; choice]."""
MEND_STEP_C = 10.0
"""A logged climb is looked at in steps of this [°C; choice] …"""
MEND_STEP_NOISE = 20.0
"""… or of its noise so many times, a twentieth of a step's time [1; choice]."""
MEND_LATE, MEND_FINER = 0.005, 0.995
"""A rate is kept if its ramp then takes no more than this longer; it is looked for in steps of the
second [share; choice]."""

# Which plan a log was fired by

EXPLAINED_ONE_WAY_S = 300.0
"""Causes that make up for no more than this leave the review's own sum to explain [s; choice]."""
