// The page is tested against fixtures; these are held against roundeld's own description of its API,
// so that a key or a type which roundeld does not send cannot hide in them.
import Ajv from "ajv/dist/2020";
import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import * as fixtures from "../dev/fixtures";

type Schema = { [key: string]: unknown };

/**
 * Fixtures may leave out what the page does not show, but may hold nothing that is not described.
 */
function narrowed(schema: unknown): unknown {
  if (Array.isArray(schema)) return schema.map(narrowed);
  if (schema === null || typeof schema !== "object") return schema;
  const { required: _, ...rest } = schema as Schema;
  const copy = Object.fromEntries(
    Object.entries(rest).map(([key, value]) => [key, narrowed(value)]),
  );
  if ("properties" in copy && !("additionalProperties" in copy))
    copy["additionalProperties"] = false;
  return copy;
}

const description = narrowed(
  JSON.parse(
    readFileSync(new URL("../../daemon/serve/openapi.json", import.meta.url), "utf8"),
  ) as unknown,
) as { components: { schemas: Record<string, Schema> } };

const ajv = new Ajv({ strict: false, validateFormats: false, allErrors: true });
ajv.addSchema({ $id: "api", components: description.components });

describe("a fixture holds only what roundeld describes", () => {
  it.each<[string, unknown]>([
    ["Site", fixtures.site],
    ["Trials", fixtures.trials],
    ["Reach", fixtures.reach()],
    ["Verdict", fixtures.verdict()],
    ["Expectation", fixtures.expect_answer()],
    ["Hours", fixtures.hours()],
    ["Drift", fixtures.drift()],
    ["Field", fixtures.field()],
    ["Cut", fixtures.cut(67.5)],
    ["Comparison", fixtures.compare()],
    ["Sky", fixtures.sky()],
    ["Live", fixtures.scenario("judged").live],
  ])("%s", (name, value) => {
    const validate = ajv.getSchema(`api#/components/schemas/${name}`);
    if (validate === undefined) throw new Error(`${name} is not described`);
    validate(value);
    expect(validate.errors ?? []).toEqual([]);
  });

  it("and a key that is not described is found", () => {
    const validate = ajv.getSchema("api#/components/schemas/Hours");
    expect(validate?.({ hours: [], minutes: [] })).toBe(false);
  });
});
