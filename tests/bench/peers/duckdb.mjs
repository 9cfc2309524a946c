// DuckDB's part of the benchmark. Prints one JSON line: {version, seconds} of the work alone,
// without starting node.
//   node duckdb.mjs load ndjson|csv FILE DATABASE THREADS   reports into a table, with checkpoint
//   node duckdb.mjs bearings CSV LATITUDE LONGITUDE         per 5 degrees: farthest, percentiles, counts
import { DuckDBInstance } from '@duckdb/node-api';

const [what, ...rest] = process.argv.slice(2);
const columns =
  "{time: 'DOUBLE', address: 'VARCHAR', latitude: 'DOUBLE', longitude: 'DOUBLE'," +
  " altitude_ft: 'INTEGER', signal_dbfs: 'FLOAT'}";
const database = what === 'load' ? rest[2] : ':memory:';
const instance = await DuckDBInstance.create(database, {
  threads: what === 'load' ? rest[3] : '1',
});
const connection = await instance.connect();
const version = (await connection.runAndReadAll('SELECT version()')).getRows()[0][0];
const start = performance.now();
if (what === 'load') {
  const [kind, file] = rest;
  const source =
    kind === 'csv'
      ? `read_csv('${file}', header = true, columns = ${columns})`
      : `read_json('${file}', format = 'newline_delimited', columns = ${columns})`;
  await connection.run(`CREATE TABLE report AS SELECT * FROM ${source}`);
  await connection.run('CHECKPOINT');
} else {
  const [file, latitude, longitude] = rest;
  const read = await connection.runAndReadAll(`
    WITH cell AS (SELECT * FROM read_csv('${file}', header = true) WHERE heard > 0),
    place AS (SELECT radians(latitude_e4 / 1e4) AS b, radians(longitude_e4 / 1e4) AS l,
                     radians(${latitude}) AS b0, radians(${longitude}) AS l0, altitude_25ft
              FROM cell),
    sight AS (SELECT 2 * 6371.0088 * asin(sqrt(pow(sin((b - b0) / 2), 2) +
                       cos(b) * cos(b0) * pow(sin((l - l0) / 2), 2))) AS range_km,
                     degrees(atan2(sin(l - l0) * cos(b),
                       cos(b0) * sin(b) - sin(b0) * cos(b) * cos(l - l0))) AS bearing_deg,
                     altitude_25ft FROM place)
    SELECT CAST(floor((bearing_deg + 360) / 5) AS INTEGER) % 72 AS sector, max(range_km),
           quantile_cont(range_km, [0.5, 0.95]), count(*) FILTER (WHERE altitude_25ft < 400),
           count(*) FROM sight GROUP BY sector ORDER BY sector`);
  if (read.currentRowCount === 0) throw new Error('no rows');
}
console.log(JSON.stringify({ version, seconds: (performance.now() - start) / 1000 }));
