// Reads the hours of timed events with npm's ical.js, which knows no zones but
// those that the feed itself describes: node read_hours.mjs FEED NODE_MODULES
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [feed, modules] = process.argv.slice(2);
const loaded = createRequire(join(modules, 'x.js'))('ical.js');
const ICAL = loaded.default ?? loaded;

const cal = new ICAL.Component(ICAL.parse(readFileSync(feed, 'utf8')));
for (const zone of cal.getAllSubcomponents('vtimezone')) ICAL.TimezoneService.register(new ICAL.Timezone(zone));
const events = cal.getAllSubcomponents('vevent').map((c) => {
  const e = new ICAL.Event(c);
  return { uid: e.uid, start: e.startDate.toJSDate().toISOString(), end: e.endDate.toJSDate().toISOString(), transp: c.getFirstPropertyValue('transp') ?? '' };
});
console.log(JSON.stringify({ events }));
