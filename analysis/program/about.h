// Of the site and the selection, for a picture's title.
#pragma once
#include <string>

#include "analysis/program/selection.h"
#include "roundel/schema/store.h"

namespace roundel::program {

inline std::string about(const schema::Store& store, const SelectionOptions& selection) {
  std::string out;
  if (const auto site = store.site(); site && *site) out = (*site)->name;
  for (const std::string& name :
       {selection.antenna, selection.receiver, selection.mount, selection.feed})
    if (!name.empty()) out += (out.empty() ? "" : ", ") + name;
  return out;
}

}  // namespace roundel::program
