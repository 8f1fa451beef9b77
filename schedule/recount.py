#!/usr/bin/python3
"""Works out what a plan costs, from the two files alone.

    recount.py INSTANCE.json PLAN.json...

prints for each plan the sums by item and the total, in pence, as a line of
JSON. It is a second implementation of MODEL.md sections 1, 4 and 6 and shares
no code with the first: recount_test.go holds the two against each other. Only
the standard library is needed. It reads files that are right; 'toeboard cost' says
what is wrong with one that is not, and whether the plan keeps the rules.

Dates are day numbers, half-days are twice the day number, plus one for the
afternoon. What is not known is None.
"""
import collections
import datetime
import json
import math
import sys
import zoneinfo

ERECTION, ROOF, FIRST_FIX, SECOND_FIX, COMMISSIONING, STRIKE = STAGES = (
    "scaffold_erection", "roof_work", "first_fix", "second_fix", "commissioning", "scaffold_strike")
AFTER = {ERECTION: (), ROOF: (ERECTION,), FIRST_FIX: (), SECOND_FIX: (FIRST_FIX,),
         COMMISSIONING: (ROOF, SECOND_FIX), STRIKE: (ROOF,)}
TRADE = {ERECTION: "scaffold", STRIKE: "scaffold", ROOF: "roof",
         FIRST_FIX: "electrical", SECOND_FIX: "electrical", COMMISSIONING: "electrical"}
TASK = {ERECTION: "scaffold_erection", STRIKE: "scaffold_strike", ROOF: "panel_carrying"}  # the others are indoors
LEAD = {"roof": "lead_roof", "electrical": "electrical"}
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday")
SATURDAY = 5
WHOLE = 10_000  # the work of a half-day
FORECAST_DAYS = 12  # from so many days after today on, roof work is counted by its chance


def day(text):
    return None if text is None else datetime.date.fromisoformat(text).toordinal()


def half_day(text):
    date, half = text.split(" ")
    return 2 * day(date) + (half == "pm")


def date_of(h):
    return h // 2


def nearest(x):
    """The nearest whole number, halves upward; x is not negative."""
    low = math.floor(x)
    return low + 1 if x - low >= 0.5 else low


class Visit:
    def __init__(self, form):
        self.job, self.stage = form["job"], form["stage"]
        self.crew, self.firm = form.get("crew"), form.get("scaffold_firm")
        self.half_days = [half_day(h) for h in form["half_days"]]

    def first(self):
        return self.half_days[0]

    def last(self):
        return self.half_days[-1]


class Firm:
    """The instance: calendars, crews, scaffold firms, chances, rates."""

    def __init__(self, form):
        self.rates = form["rates"]
        self.first_day = day(form["first_day"])
        self.last_day = self.first_day + form["days"] - 1
        self.today = self.first_day
        if form["now"] is not None:
            now = datetime.datetime.fromisoformat(form["now"].replace("Z", "+00:00"))
            self.today = now.astimezone(zoneinfo.ZoneInfo(form["time_zone"])).date().toordinal()
        self.holidays = {day(d) for d in form["holidays"] or []}
        self.crews = {c["ref"]: c for c in form["crews"] or []}
        self.firms = {f["ref"]: f for f in form["scaffold_firms"] or []}
        self.chances = {(o["site"], o["task"], o.get("scaffold_firm")): (half_day(o["first"]), o["chances"]) for o in form["outlooks"] or []}
        self.site = sites(form["jobs"] or [])
        self.roads = roads(form)
        self.working = [d for d in range(self.first_day, self.last_day + 1) if self.is_working(d)]
        self.number = {d: i for i, d in enumerate(self.working)}

    def is_working(self, d):
        return datetime.date.fromordinal(d).weekday() < SATURDAY and d not in self.holidays

    def comes(self, scaffold_firm, d):
        """A working day that is none of the scaffold firm's days off."""
        return self.is_working(d) and datetime.date.fromordinal(d).weekday() not in map(WEEKDAYS.index, scaffold_firm.get("days_off", []))

    def goes_to(self, scaffold_firm, job, booking):
        """The site lies in the scaffold firm's area, or the firm said of the live booking that it comes."""
        if booking and booking["scaffold_firm"] == scaffold_firm["ref"] and booking["state"] in ("confirmed", "countered"):
            return True
        f = scaffold_firm
        return "reach_km" not in f or great_circle_km((f["yard_lat"], f["yard_lon"]), place(job)) <= f["reach_km"]

    def working_day_from(self, d, n):
        """The n-th working date after d; d itself for n = 0."""
        while n > 0:
            d += 1
            n -= self.is_working(d)
        return d

    def is_saturday(self, d):
        return datetime.date.fromordinal(d).weekday() == SATURDAY and d not in self.holidays

    def working_days_after(self, a, b):
        """wd(a, b): working dates after a, up to and including b."""
        return 0 if a is None else sum(self.is_working(d) for d in range(a + 1, b + 1))

    def leads(self, crew, d):
        """An active lead with the trade's competence is there."""
        def within(x, start, end):
            return (start is None or d >= start) and (end is None or d <= end)

        return crew["active"] and any(
            m["lead"] and m["active"] and within(d, day(m["from"]), day(m["until"]))
            and not any(day(a["from"]) <= d <= day(a["until"]) for a in m.get("absences", []))
            and any(s["skill"] == LEAD[crew["trade"]] and within(d, day(s["from"]), day(s["until"])) for s in m["skills"] or [])
            for m in crew["members"] or [])

    def opens(self, crew, d, saturdays=False):
        return (self.is_working(d) or saturdays and self.is_saturday(d)) and self.leads(crew, d)

    def chance(self, job, stage, h, by=None):
        """A scaffold firm with a gust limit of its own has chances of its own, or none are known."""
        owner = by if TRADE[stage] == "scaffold" and "gust_limit_ms" in self.firms.get(by, {}) else None
        first, chances = self.chances.get((self.site[job["ref"]], TASK[stage], owner), (0, []))
        return chances[h - first] if 0 <= h - first < len(chances) else None

    def brings(self, job, stage, h):
        """b(j, k, t): what a half-day is expected to bring of a stage's work."""
        if stage != ROOF or date_of(h) < self.today + FORECAST_DAYS:
            return WHOLE
        return nearest((self.chance(job, stage, h) or 0) * WHOLE)

    def km(self, a, b):
        """Kilometres by road: as the firm gave them, else estimated."""
        given = self.roads.get(frozenset((a, b)))
        return given if given is not None else great_circle_km(a, b) * self.rates["road_factor"]


def sites(jobs):
    """By job: the ref under which outlooks speak of its site, that of the first job there."""
    first = {}
    for j in sorted(jobs, key=lambda j: j["ref"].encode()):
        first.setdefault(j.get("site_id", j["ref"]), j["ref"])
    return {j["ref"]: first[j.get("site_id", j["ref"])] for j in jobs}


def place(job):
    return job["lat"], job["lon"]


def home(crew):
    return crew["home_lat"], crew["home_lon"]


def roads(form):
    """Distances given, by the pair of places; the shortest where two names are one place."""
    at = {j["ref"]: place(j) for j in form["jobs"] or []}
    at.update({c["ref"]: home(c) for c in form["crews"] or []})
    km = {}
    for leg in form.get("travel") or []:
        if leg["from"] in at and leg["to"] in at:
            pair = frozenset((at[leg["from"]], at[leg["to"]]))
            km[pair] = min(leg["km"], km.get(pair, math.inf))
    return km


def great_circle_km(a, b):
    """Haversine on a sphere of 6371.0088 km (IUGG mean radius)."""
    rad = math.pi / 180
    s, t = math.sin((b[0] - a[0]) * rad / 2), math.sin((b[1] - a[1]) * rad / 2)
    h = s * s + math.cos(a[0] * rad) * math.cos(b[0] * rad) * t * t
    return 2 * 6371.0088 * math.asin(math.sqrt(min(1, h)))


class Job:
    """An open job: what of it is to be done, and what can have no place."""

    def __init__(self, form, firm, bookings, published):
        self.form, self.firm = form, firm
        self.stages = {s["stage"]: dict(s) for s in form["stages"] or []}
        live = [b for b in bookings if b["job"] == form["ref"] and b["state"] not in ("struck", "cancelled")]
        live.sort(key=lambda b: (b["state"] != "erected", b["uid"].encode()))
        self.booking = live[0] if live else None
        self.read_published(published)
        self.read_scaffold(published)
        self.blocked = set()
        self.read_blocks()

    def state(self, k):
        return self.stages[k]["state"] if k in self.stages else None

    def is_open(self, k):
        return self.state(k) in ("planned", "started")

    def is_planned(self, k):
        return self.state(k) == "planned"

    def read_published(self, published):
        """The published visits that count, and who did or began what."""
        self.base, self.begun, self.did = {}, {}, {}
        for v in (Visit(v) for v in published["visits"] or []) if published else ():
            if v.job != self.form["ref"] or not v.half_days:
                continue
            if self.state(v.stage) == "done":
                self.did[v.stage] = v.crew
            elif self.state(v.stage) == "started":
                self.begun[v.stage] = v
            elif self.is_planned(v.stage) and v.first() >= 2 * self.firm.first_day:
                self.base[v.stage] = v
        self.strike_left_out = bool(published) and any(
            u["job"] == self.form["ref"] and u["stage"] == STRIKE for u in published["left_out"] or [])
        b = self.booking
        if b and b["state"] in ("confirmed", "erected"):  # what was agreed since is the appointment
            for k, ends, on in (ERECTION, Visit.first, b["erect_on"]), (STRIKE, Visit.last, b["strike_on"]):
                v = self.base.get(k)
                if v and (v.firm != b["scaffold_firm"] or date_of(ends(v)) != day(on)):
                    del self.base[k]

    def read_scaffold(self, published):
        """Whether a scaffold stands, since when and whose."""
        self.stands, self.since, self.owner = False, None, None
        b = self.booking
        if self.state(STRIKE) == "done":
            return
        if b and b["state"] == "erected" and self.is_open(ERECTION):
            self.stages[ERECTION].update(state="done", started_on=b["erect_on"], done_on=b["erect_on"])
        up = self.state(ERECTION) in ("started", "done") or self.state(STRIKE) == "started"
        self.stands = up or bool(b) and (b["state"] == "erected" or self.state(ROOF) in ("started", "done"))
        if not self.stands:
            return
        erection = self.stages.get(ERECTION, {})
        self.since = day(erection.get("started_on")) if up else None
        if self.since is None and b:
            self.since = day(b["erect_on"])
        if self.since is None and up:
            self.since = day(erection.get("done_on"))
        if self.since is None:
            self.since = self.firm.first_day
        if b:
            self.owner = b["scaffold_firm"]
        elif published:
            for v in published["visits"] or []:
                if v["job"] == self.form["ref"] and TRADE[v["stage"]] == "scaffold":
                    self.owner = v.get("scaffold_firm")
        if self.owner is None and len(self.firm.firms) == 1:
            self.owner = next(iter(self.firm.firms))
        if self.owner not in self.firm.firms:
            self.owner = None

    # What can have no place by the facts alone (MODEL.md 6.3).

    def before(self, k):
        if k == STRIKE and not self.is_open(ROOF) and self.is_planned(ERECTION):
            return (ERECTION,)
        return AFTER[k]

    def gates(self, k):
        """The first date of a stage; None = there is none."""
        first = self.firm.first_day
        if not self.is_planned(k):
            return first  # what has started has passed its gates
        days = [day(self.form["ready_on"])]
        for b in self.before(k):
            if self.state(b) == "done" and self.stages[b].get("done_on"):
                days.append(day(self.stages[b]["done_on"]) + 1)
        for c in self.form.get("consents", []):
            if c["stage"] == k:
                if c["state"] == "refused":
                    return None
                granted, expected = day(c["granted_on"]), day(c["expected_on"])
                if c["state"] != "granted" or granted is None:
                    if expected is None or expected < self.firm.today:
                        return None
                    granted = expected
                days.append(granted)
        for kit in self.form.get("kit", []) if k in (ROOF, SECOND_FIX) else ():
            arrived, due = day(kit["arrived_on"]), day(kit["due_on"])
            if arrived is None:
                if due is None or due < self.firm.today:
                    return None
                arrived = due + 1
            days.append(arrived)
        first = max([first] + [d for d in days if d is not None])
        return first if first <= self.firm.last_day else None

    def half_days_left(self, k):
        n = self.stages[k]["half_days"]
        if k in self.begun:
            published = self.begun[k].half_days
            left = sum(date_of(h) >= self.firm.first_day for h in published)
            n = max(1, -(-n * left // len(published)))
        return n

    def stays(self, was, v):
        """By the same crew or firm, from the same half-day on, and no longer."""
        return (v.crew, v.firm) == (was.crew, was.firm) and v.half_days == was.half_days[:len(v.half_days)]

    def calendars(self, k):
        """The calendars of all who may do the stage, each with whose it is."""
        f = self.firm
        if TRADE[k] == "scaffold":
            who = [f.firms[self.owner]] if self.stands and self.owner else []
            if not self.stands:
                who = self.askable()
            return [(lambda d, x=x: f.comes(x, d), x["ref"]) for x in who]
        crews = [c for c in f.crews.values() if c["active"] and c["trade"] == TRADE[k]]
        if k in self.begun and any(c["ref"] == self.begun[k].crew for c in crews):
            crews = [f.crews[self.begun[k].crew]]
        saturdays = (False, True) if f.rates["overtime_percent"] > 0 else (False,)
        return [(lambda d, c=c, s=s: f.opens(c, d, s), None) for c in crews for s in saturdays]

    def askable(self):
        """The scaffold firms that may be asked."""
        return [x for x in self.firm.firms.values() if x["active"] and self.firm.goes_to(x, self.form, self.booking)]

    def could_be_done(self, k, start):
        """Somebody has enough half-days in a row, in weather that may be planned."""
        f, need = self.firm, self.half_days_left(k) * WHOLE - (WHOLE // 2 if k == ROOF else 0)
        for is_open, who in self.calendars(k):
            row = 0
            for d in range(start, f.last_day + 1):
                if not is_open(d):
                    continue
                for h in (2 * d, 2 * d + 1):
                    p = self.firm.chance(self.form, k, h, who) if k in TASK else 1
                    row = row + f.brings(self.form, k, h) if p is not None and p >= f.rates["least_chance_percent"] / 100 else 0
                    if row >= need:
                        return True
        return False

    def overtaken(self, k):
        def follows(n):
            return k in AFTER[n] or any(follows(b) for b in AFTER[n])

        return any(follows(n) and (self.state(n) == "done" or self.state(n) == "started" and self.is_planned(k)) for n in STAGES)

    def together(self):
        return self.is_planned(ERECTION) and not self.stands

    def read_blocks(self):
        for k in STAGES:
            if self.is_open(k) and (self.overtaken(k) or self.gates(k) is None):
                self.blocked.add(k)
        if self.together():
            if STRIKE not in self.stages:
                self.blocked.add(ERECTION)
        elif self.is_open(STRIKE) and self.owner is None:
            self.blocked.add(STRIKE)
        for k in STAGES:
            if self.is_open(k) and k not in self.blocked and not self.could_be_done(k, self.gates(k)):
                self.blocked.add(k)
        scaffolded = (ERECTION, ROOF, STRIKE)
        if self.together() and any(k in self.blocked for k in scaffolded):
            self.blocked.update(k for k in scaffolded if self.is_planned(k))
        for k in STAGES:
            if self.is_planned(k) and any(self.is_open(b) and b in self.blocked for b in self.before(k)):
                self.blocked.add(k)


class Bill:
    def __init__(self, instance, plan):
        self.firm = f = Firm(instance)
        self.rates = f.rates
        self.sums = collections.Counter()
        published = instance.get("published")
        self.jobs = {j["ref"]: Job(j, f, instance["bookings"] or [], published) for j in instance["jobs"] or [] if j["state"] == "open"}
        visits = [v for v in (Visit(v) for v in plan["visits"] or []) if v.job in self.jobs and v.half_days]
        of = collections.defaultdict(dict)
        for v in visits:
            of[v.job][v.stage] = v
        for ref, job in self.jobs.items():
            self.job(job, of[ref])
        for crew in f.crews.values():
            self.crew(crew, [v for v in visits if v.crew == crew["ref"]])

    def job(self, job, visits):
        for k in STAGES:
            if not job.is_open(k):
                continue
            v = visits.get(k)
            if k == COMMISSIONING:
                self.sums["lateness"] += self.late(job, date_of(v.last()) if v else self.firm.last_day)
            if v is None and k not in job.blocked:
                self.sums["not planned"] += self.left_out(job, k)
            if v is not None:
                self.sums["weather risk"] += self.weather(job, v)
                self.sums["hand-overs"] += self.handover(job, v, visits)
            self.sums["moved appointments"] += self.moved(job, k, v) + self.booking_moved(job, k, v)
        self.scaffold(job, visits)

    def late(self, job, end):
        rate = self.rates["late_told_per_day_pence" if job.form.get("promise_told") else "late_per_day_pence"]
        days = self.firm.working_days_after(day(job.form["promised_on"]), end)
        return sum(rate * (100 + i // 5 * self.rates["late_growth_percent"]) // 100 for i in range(days))

    def left_out(self, job, k):
        price = self.rates["unplanned_stage_pence"]
        if k == ERECTION and job.together():
            price += min((f["visit_price_pence"] for f in job.askable()), default=0)
        if k == ROOF:
            price = max(price, self.dearest_weather(job))
        return price

    def dearest_weather(self, job):
        """The half-days of work of a roof, each where the weather takes most."""
        f, most = self.firm, 0
        for d in f.working:
            for h in (2 * d, 2 * d + 1):
                p = f.chance(job.form, ROOF, h)
                if p is not None and p >= self.rates["least_chance_percent"] / 100:
                    most = max(most, (1 - p) * WHOLE / max(1, f.brings(job.form, ROOF, h)))
        return nearest((job.half_days_left(ROOF) + 0.5) * most * self.rates["lost_roof_half_day_pence"])

    def weather(self, job, v):
        if v.stage not in TASK:
            return 0
        lost = self.rates["lost_scaffold_visit_pence" if TRADE[v.stage] == "scaffold" else "lost_roof_half_day_pence"]
        return sum(nearest((1 - (self.firm.chance(job.form, v.stage, h, v.firm) or 0)) * lost) for h in v.half_days)

    def handover(self, job, v, visits):
        """The electrical stage before, if the job has one, by another crew."""
        before = [k for k in {SECOND_FIX: (FIRST_FIX,), COMMISSIONING: (SECOND_FIX, FIRST_FIX)}.get(v.stage, ()) if k in job.stages]
        if not before:
            return 0
        crew = visits[before[0]].crew if before[0] in visits else job.did.get(before[0])
        return self.rates["handover_pence"] if crew and v.crew and crew != v.crew else 0

    def moved(self, job, k, v):
        """A published visit that is elsewhere, or nowhere."""
        was = job.base.get(k)
        if was is None or v is not None and job.stays(was, v):
            return 0
        old, new = date_of(was.first()), date_of(v.first()) if v else None
        ahead = min(max(min(old, old if new is None else new) - self.firm.today, 7), 28)
        r = self.rates
        price = r["moved_visit_pence"] + (r["moved_soon_pence"] - r["moved_visit_pence"]) * (28 - ahead) // 21
        confirmed = [day(c["on"]) for c in job.form.get("customer_confirmed", []) if c["stage"] == k]
        return price + (r["moved_confirmed_pence"] if new != old and confirmed[:1] == [old] else 0)

    def booking_moved(self, job, k, v):
        """An erection or strike on another day, or by another firm, than agreed."""
        b = job.booking
        if b is None or TRADE[k] != "scaffold" or not job.is_planned(k):
            return 0
        if b["state"] != "confirmed" and not (b["state"] == "erected" and k == STRIKE and not job.strike_left_out):
            return 0
        agreed = day(b["erect_on" if k == ERECTION else "strike_on"])
        if agreed < self.firm.first_day or v and date_of(v.first()) == agreed and v.firm == b["scaffold_firm"]:
            return 0
        price, owner = self.rates["moved_booking_pence"], self.firm.firms.get(b["scaffold_firm"], {})
        if agreed < self.firm.working_day_from(self.firm.today, owner.get("cancel_notice_working_days", 0)):
            price += owner.get("cancel_charge_pence", 0)
        return price

    def scaffold(self, job, visits):
        erect, strike = visits.get(ERECTION), visits.get(STRIKE)
        start, firm = (job.since, job.owner) if job.stands else (date_of(erect.first()), erect.firm) if erect else (None, None)
        firm = self.firm.firms.get(firm)
        if firm is None:
            return
        if not job.stands:
            self.sums["scaffold visits"] += firm["visit_price_pence"]
        days = (date_of(strike.last()) if strike else self.firm.last_day) - start + 1
        weeks = -(-days // 7)
        self.sums["scaffold hire"] += firm["weekly_hire_pence"] * max(0, weeks - firm["included_weeks"])
        half_days = sum(job.stages[k]["half_days"] for k in (ERECTION, ROOF, STRIKE) if k in job.stages)
        idle = min(days, 7 * firm["included_weeks"]) - (half_days + 1) // 2
        self.sums["scaffold standing idle"] += self.rates["idle_scaffold_day_pence"] * max(0, idle)

    def crew(self, crew, visits):
        f, at = self.firm, {}  # by half-day: where, or None in the reserve, to which nobody travels
        for v in visits:
            work = self.jobs[v.job].half_days_left(v.stage)
            for i, h in enumerate(v.half_days):
                at[h] = place(self.jobs[v.job].form) if i < work else None
        for d in range(f.first_day, f.last_day + 1):
            worked = [at[h] for h in (2 * d, 2 * d + 1) if h in at]
            if f.opens(crew, d):
                m = len(f.working)
                idle = crew["half_day_cost_pence"] * self.rates["idle_share_percent"] * (m - f.number[d]) // (100 * m)
                self.sums["idle crew"] += idle * (2 - len(worked))
            if datetime.date.fromordinal(d).weekday() == SATURDAY:
                self.sums["overtime"] += len(worked) * (crew["half_day_cost_pence"] * self.rates["overtime_percent"] // 100)
            way = [home(crew)] + [there for there in worked if there is not None] + [home(crew)]
            for a, b in zip(way, way[1:]):
                if a != b:
                    self.sums["travel"] += nearest(f.km(a, b) * self.rates["travel_per_km_pence"])


def main():
    def read(path):
        with open(path, encoding="utf-8") as file:
            return json.load(file)

    instance = read(sys.argv[1])
    for path in sys.argv[2:]:
        sums = {item: pence for item, pence in Bill(instance, read(path)).sums.items() if pence}
        print(json.dumps({"total_pence": sum(sums.values()), "sums_pence": sums}, sort_keys=True))


if __name__ == "__main__":
    main()
