import { describe, expect, it } from "vitest";
import * as fixtures from "../dev/fixtures";
import { csv, filled, sector_columns } from "../src/columns";
import { empty_model, sectors_of } from "../src/model";

const rows = sectors_of({ ...empty_model, reach: { kind: "ok", value: fixtures.reach() } });

describe("a table as CSV", () => {
  it("leaves out columns that nobody filled, and keeps the API's names", () => {
    const head = csv(filled(sector_columns, rows), rows).split("\r\n")[0];
    expect(head).toBe(
      "bearing_deg,reach_km,horizon_km,ratio,half_rate_km,altitude_ft,time,flights,cells",
    );
  });
  it("has a line for every sector, and leaves what is unknown empty", () => {
    const lines = csv(filled(sector_columns, rows), rows).split("\r\n");
    expect(lines).toHaveLength(1 + 72 + 1);
    expect(lines.find((line) => line.startsWith("252.5,"))).toBe("252.5,,,,,,,,");
  });
  it("quotes as RFC 4180 has it", () => {
    const column = {
      key: "a",
      label: "A",
      value: (row: { text: string }) => row.text,
      text: (row: { text: string }) => row.text,
    };
    expect(csv([column], [{ text: 'say "no", twice' }])).toBe('a\r\n"say ""no"", twice"\r\n');
  });
});
