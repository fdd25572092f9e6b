// Packed files are read by engines that share no code with the program: DuckDB reads
// the Parquet file, the JavaScript library of Apache Arrow the stream. What they count
// and add up must be what check and judge say, and what the other one has.
//
//   node check.mjs PROGRAM CAMPAIGN
import { DuckDBInstance } from '@duckdb/node-api';
import { tableFromIPC } from 'apache-arrow';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const [program, campaign] = process.argv.slice(2);
const folder = mkdtempSync(join(tmpdir(), 'packed-'));
const run = (...args) => execFileSync(program, args, { encoding: 'utf8', maxBuffer: 1 << 28, stdio: ['ignore', 'pipe', 'ignore'] });
const ask = (...args) => JSON.parse(run(...args, '--format', 'json')).results;
let compared = 0;

function same(what, got, want) {
  compared++;
  const near = typeof got === 'number' && typeof want === 'number' ? Math.abs(got - want) <= 1e-9 * Math.max(1, Math.abs(want)) : got === want;
  if (!near) throw new Error(`${what}: ${got}, and ${want} was to be`);
}

// The bands of judge, ITU Radio Regulations, Article 2: upper edge included.
const band = `CASE WHEN freq_hz <= 3e4 THEN 'VLF' WHEN freq_hz <= 3e5 THEN 'LF' WHEN freq_hz <= 3e6 THEN 'MF' WHEN freq_hz <= 3e7 THEN 'HF'
  WHEN freq_hz <= 3e8 THEN 'VHF' WHEN freq_hz <= 3e9 THEN 'UHF' WHEN freq_hz <= 3e10 THEN 'SHF' ELSE 'EHF' END`;

async function main() {
  const parquet = join(folder, 'all.parquet'), stream = join(folder, 'all.arrow'), means = join(folder, 'means.parquet');
  run('pack', campaign, '-o', parquet);
  run('pack', campaign, '-o', stream);
  const db = await (await DuckDBInstance.create(':memory:')).connect();
  const query = async (sql) => (await db.runAndReadAll(sql)).getRowObjectsJson();

  // What check counts. Its rows are those of the packed file, side tables excluded.
  const [check] = ask('check', parquet);
  const [counts] = await query(`SELECT count(*)::DOUBLE AS rows, count(DISTINCT run)::DOUBLE AS runs, count(DISTINCT box)::DOUBLE AS boxes,
    count(DISTINCT gasket)::DOUBLE AS gaskets, count(DISTINCT freq_hz)::DOUBLE AS frequencies FROM '${parquet}'`);
  for (const name of ['rows', 'runs', 'boxes', 'gaskets', 'frequencies']) same(name, counts[name], check[name]);

  // The lowest reading of each group and band, paired in SQL.
  const lowest = await query(`
    WITH opens AS (SELECT run, freq_hz, position, avg(level_dbm - gain_db) AS open FROM '${parquet}' WHERE state = 'open' GROUP BY ALL),
    closed AS (SELECT run, gasket, box, date, closing, freq_hz, position, avg(level_dbm - gain_db) AS level FROM '${parquet}' WHERE state = 'closed' GROUP BY ALL)
    SELECT gasket, box, ${band} AS band, min(open - level) AS lowest, count(DISTINCT (run, closing))::DOUBLE AS closings
    FROM closed JOIN opens USING (run, freq_hz, position) GROUP BY ALL`);
  const key = (gasket, box, name) => [gasket, box, name].join('|');
  const bySQL = new Map(lowest.map((r) => [key(r.gasket, r.box, r.band), r]));
  const rows = ask('judge', '--all-dates', '--keep-drifted', parquet);
  same('groups and bands', bySQL.size, rows.length);
  for (const r of rows) {
    const at = key(r.group.gasket, r.group.box, r.band.name);
    same(`${at}: closings`, bySQL.get(at).closings, r.closings);
    if (!r.lowest.limited && r.limited === 0) same(`${at}: lowest`, bySQL.get(at).lowest, r.lowest.atten_db);
  }

  // Both readers see the same table.
  const table = tableFromIPC(readFileSync(stream));
  same('rows of the stream', table.numRows, check.rows);
  same('rows in its metadata', Number(table.schema.metadata.get('sealbound.rows')), check.rows);
  for (const field of table.schema.fields) {
    const column = table.getChild(field.name);
    if (String(field.type).startsWith('Float')) {
      const [sums] = await query(`SELECT sum(${field.name})::DOUBLE AS sum, count(${field.name})::DOUBLE AS n FROM '${parquet}'`);
      let sum = 0, n = 0;
      for (const v of column) if (v !== null) { sum += v; n++; }
      same(`${field.name}: sum`, sum, sums.sum);
      same(`${field.name}: values`, n, sums.n);
    } else if (String(field.type).startsWith('Dictionary')) {
      const counted = new Map();
      for (const v of column) if (v !== null) counted.set(v, (counted.get(v) ?? 0) + 1);
      const wanted = await query(`SELECT ${field.name} AS v, count(*)::DOUBLE AS n FROM '${parquet}' WHERE v IS NOT NULL GROUP BY ALL`);
      same(`${field.name}: labels`, counted.size, wanted.length);
      for (const w of wanted) same(`${field.name} ${w.v}`, counted.get(w.v), w.n);
    }
  }

  // A query makes the closing-level table that pack --reduce makes, and judge agrees.
  run('pack', '--reduce', '--keep-drifted', '--floor-margin', '0', campaign, '-o', means);
  const reduced = await query(`
    WITH opens AS (SELECT run, freq_hz, position, avg(level_dbm - gain_db) AS open FROM '${parquet}' WHERE state = 'open' GROUP BY ALL),
    closed AS (SELECT box, gasket, run, date, closing, freq_hz, position, avg(level_dbm - gain_db) AS level FROM '${parquet}' WHERE state = 'closed' GROUP BY ALL)
    SELECT box, gasket, run, closing, ${band} AS band, avg(open - level) AS atten_db FROM closed JOIN opens USING (run, freq_hz, position) GROUP BY ALL`);
  const mine = await query(`SELECT box, gasket, run, closing, ${band.replaceAll('freq_hz', 'band_hi_hz')} AS band, atten_db, limited FROM '${means}'`);
  const theirs = new Map(reduced.map((r) => [[r.box, r.gasket, r.run, r.closing, r.band].join('|'), r.atten_db]));
  same('closings in bands', mine.length, theirs.size);
  for (const r of mine) if (!r.limited) same(`${r.box} ${r.run} ${r.closing} ${r.band}`, r.atten_db, theirs.get([r.box, r.gasket, r.run, r.closing, r.band].join('|')));
  console.log(`DuckDB and Arrow for JavaScript read what was packed: ${compared} figures agree`);
}

try {
  await main();
} catch (e) {
  console.error(String(e.message ?? e));
  process.exitCode = 1;
} finally {
  rmSync(folder, { recursive: true, force: true });
}
