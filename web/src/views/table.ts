// The numbers behind the map, as a table. Whether it is open is part of the state.
import { sector_columns } from "../columns";
import { sector_deg_of, sectors_of } from "../model";
import { strings } from "../strings";
import { table_behind } from "./data_table";
import type { Context, Shown, View } from "./view";

export function table_view(context: Context): View {
  const { set } = context;
  const behind = table_behind(context, "reach", "table panel", strings.table);
  let latest: Shown | null = null;
  let inputs: unknown[] = [];
  behind.element.addEventListener("toggle", () => {
    const is_open = behind.element.open;
    if (latest !== null && latest.state.table !== is_open) set({ table: is_open });
  });
  return {
    element: behind.element,
    update(shown) {
      latest = shown;
      const { model, state } = shown;
      behind.element.open = state.table;
      const now: unknown[] = [model.reach, model.verdict, state.units];
      if (now.every((part, i) => part === inputs[i])) return;
      inputs = now;
      behind.show(
        sector_columns,
        sectors_of(model),
        strings.table_caption(String(sector_deg_of(model))),
        state.units,
      );
    },
  };
}
