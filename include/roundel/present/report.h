// Everything about one antenna at one place on a page to hand over.
#pragma once
#include <string>
#include <vector>

#include "roundel/pattern/reach.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/units.h"
#include "roundel/schema/store.h"
#include "roundel/site/sightline.h"

namespace roundel::present {

/// What became of a feed's reports within the selection's time.
struct FeedQuality {
  std::string feed;
  schema::Tally tally;
  std::int64_t recorded_s{};  ///< feed time covered by recordings
};

/// A section of its own: a comparison, what changed with time, what was expected.
struct ReportPart {
  std::string heading;
  std::vector<std::string> paragraphs;
  std::vector<std::string> figures;  ///< SVG, Form::figure, ids unique on the page
};

/// What the page tells. References must outlive the call.
struct ReportPage {
  std::string question;  ///< what the reader wanted to know
  std::string about;     ///< site and selection: "Hill house, collinear"
  std::string command;   ///< as typed, so that it can be done again
  double made_s{};       ///< when, Unix seconds
  Units units = Units::metric;
  schema::SiteRow site;
  const site::Viewpoint& viewpoint;
  const pattern::Reach& reach;
  const pattern::Verdict& verdict;
  std::vector<schema::Trial> trials;  ///< of the selection
  std::vector<schema::Note> notes;    ///< of these trials, or of none
  std::vector<FeedQuality> feeds;
  std::vector<ReportPart> parts;
};

/// One self-contained HTML page, which is well-formed XML too: pictures inline, no script, nothing
/// fetched. Reads on a phone, prints to A4 and Letter.
std::string report_html(const ReportPage& page);

}  // namespace roundel::present
