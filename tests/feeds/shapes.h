// The gallery: what feeds look like. A new shape is one more row of shapes().
//
// A row prints simulated traffic in its own way, with keys of our own invention, and says what
// `roundeld peek` must make of it: the table it prints, or what it must say where it can't.
#pragma once
#include <string>
#include <vector>

#include "tests/feed/traffic.h"

namespace roundel::feed {

struct Shape {
  const char* name;
  std::vector<std::string> lines;
  std::string table;       ///< the [layout] table without its first line; empty where there is none
  std::string doubt;       ///< a part of what must be said; empty: nothing is asked for
  bool reads_all = true;   ///< each fix once; else some not at all, or several times
  double step_deg = 1e-5;  ///< to which positions are printed
};

/// The traffic that all shapes show.
std::vector<Fix> gallery_fixes();
std::vector<Shape> shapes();

}  // namespace roundel::feed
