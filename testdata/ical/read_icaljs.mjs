// Reads an iCalendar feed with npm's ical.js and prints what a client would
// take from it: node read_icaljs.mjs FEED NODE_MODULES
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [feed, modules] = process.argv.slice(2);
const loaded = createRequire(join(modules, 'x.js'))('ical.js');
const ICAL = loaded.default ?? loaded;

const cal = new ICAL.Component(ICAL.parse(readFileSync(feed, 'utf8')));
const events = cal.getAllSubcomponents('vevent').map((c) => {
  const e = new ICAL.Event(c);
  const text = (name) => c.getFirstPropertyValue(name) ?? '';
  if (!e.startDate.isDate || !e.endDate.isDate) throw new Error(`${e.uid} is not a whole-day event`);
  return {
    uid: e.uid,
    sequence: e.sequence,
    stamp: text('dtstamp').toString(),
    modified: text('last-modified').toString(),
    status: text('status'),
    start: e.startDate.toString(),
    end: e.endDate.toString(),
    summary: e.summary ?? '',
    location: e.location ?? '',
    description: e.description ?? '',
    transp: text('transp'),
  };
});
// NAME is TEXT by RFC 7986 5.1, but ical.js 2.2.1 knows only RFC 5545 and gives
// the value of a property it does not know as it stands, escapes and all.
// An invitation has no NAME.
const name = cal.getFirstProperty('name');
if (name && name.type !== 'unknown') throw new Error(`ical.js now reads NAME as ${name.type}: drop the line below`);
const unescaped = (name?.getFirstValue() ?? '').replace(/\\(.)/g, (_, c) => (c === 'n' || c === 'N' ? '\n' : c));
console.log(JSON.stringify({ name: unescaped, events }));
