// Reads an iCalendar feed with npm's node-ical and prints what a client would
// take from it: node read_nodeical.mjs FEED NODE_MODULES. Days are printed as
// the clock of the process' own zone (TZ) shows them, as a client would.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [feed, modules] = process.argv.slice(2);
const nodeICal = createRequire(join(modules, 'x.js'))('node-ical');

const two = (n) => String(n).padStart(2, '0');
const day = (d) => {
  if (!d.dateOnly) throw new Error('not a whole-day event');
  return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
};
const stamp = (d) => d.toISOString().replace('.000Z', 'Z');

const parsed = nodeICal.sync.parseICS(readFileSync(feed, 'utf8'));
const events = Object.values(parsed).filter((c) => c.type === 'VEVENT').map((e) => ({
  uid: e.uid,
  sequence: Number(e.sequence),
  stamp: stamp(e.dtstamp),
  modified: stamp(e.lastmodified),
  status: e.status,
  start: day(e.start),
  end: day(e.end),
  summary: e.summary ?? '',
  location: e.location ?? '',
  description: e.description ?? '',
  transp: e.transparency,
}));
console.log(JSON.stringify({ name: parsed.vcalendar?.name ?? parsed.vcalendar?.['WR-CALNAME'] ?? '', events }));
