// Coast and borders around the site, azimuthal equidistant: straight lines from the middle are
// bearings, and lengths along them are ranges.
import {
  geoAzimuthalEquidistant,
  geoPath,
  type GeoPermissibleObjects,
  type GeoProjection,
} from "d3-geo";
import type { Feature, Geometry } from "geojson";
import { feature, merge, mesh } from "topojson-client";
import type { GeometryCollection, MultiPolygon, Polygon, Topology } from "topojson-specification";
import { svg } from "../dom";
import { coordinate } from "../geometry";
import { box_of_text, is_inside, places, type Place } from "./places";

/** Mean radius of the Earth, km (IUGG). The map is for looking; ranges are computed elsewhere. */
const earth_radius_km = 6371.0088;

export type Atlas = Topology<{ countries: GeometryCollection<{ name: string }> }>;

/** Of the disc; a country that shows less is not named. */
const least_named_share = 0.035;

const antenna_room_px = 26;

/** Pictures keep what is drawn of the atlas, which does not change with the selection. */
export interface Land {
  land: GeoPermissibleObjects;
  borders: GeoPermissibleObjects;
  countries: Feature<Geometry, { name: string }>[];
  places: Place[];
}

export function land_of(atlas: Atlas, named: Place[] = []): Land {
  const countries = atlas.objects.countries;
  const areas = countries.geometries.filter(
    (geometry): geometry is Polygon<{ name: string }> | MultiPolygon<{ name: string }> =>
      geometry.type === "Polygon" || geometry.type === "MultiPolygon",
  );
  return {
    land: merge(atlas, areas),
    borders: mesh(atlas, countries, (a, b) => a !== b),
    countries: feature(atlas, countries).features,
    places: named,
  };
}

export interface CoastPlace {
  latitude_deg: number;
  longitude_deg: number;
  radius: number;
  domain_km: number;
}

function projection_of(place: CoastPlace): GeoProjection {
  return geoAzimuthalEquidistant()
    .rotate([-place.longitude_deg, -place.latitude_deg])
    .translate([0, 0])
    .scale((place.radius / place.domain_km) * earth_radius_km)
    .clipAngle(Math.min(179, ((place.domain_km / earth_radius_km) * 180) / Math.PI))
    .precision(0.3);
}

type Draw = (doc: Document, land: Land, place: CoastPlace) => SVGElement;

/**
 * Projecting the atlas takes longer than all the rest of a map. A map is drawn anew with every
 * answer; this part only for another place or scale.
 */
function kept(draw: Draw): Draw {
  let latest: { doc: Document; land: Land; place: CoastPlace; element: SVGElement } | null = null;
  const is_same = (a: CoastPlace, b: CoastPlace) =>
    a.latitude_deg === b.latitude_deg &&
    a.longitude_deg === b.longitude_deg &&
    a.radius === b.radius &&
    a.domain_km === b.domain_km;
  return (doc, land, place) => {
    if (latest?.doc !== doc || latest.land !== land || !is_same(latest.place, place))
      latest = { doc, land, place, element: draw(doc, land, place) };
    return latest.element.cloneNode(true) as SVGElement; // two pictures may hold it
  };
}

export const coast = kept((doc, land, place) => {
  const path = geoPath(projection_of(place)).digits(1);
  return svg(
    doc,
    "g",
    { class: "coast" },
    svg(doc, "path", { class: "land", d: path(land.land) ?? "" }),
    svg(doc, "path", { class: "border", d: path(land.borders) ?? "" }),
  );
});

/** Over what hides the land: its outlines alone. */
export function coast_lines(of: SVGElement): SVGElement {
  const lines = of.cloneNode(true) as SVGElement;
  lines.setAttribute("class", "coast-lines");
  return lines;
}

/** Of countries, and of a few places. Drawn over the field, which would veil them. */
export const map_names = kept((doc, land, place) => {
  const projection = projection_of(place);
  const path = geoPath(projection);
  const named = land.countries.flatMap((country) => {
    // Countries that show little have no room for a name; most do not show at all.
    if (path.area(country) < least_named_share * Math.PI * place.radius ** 2) return [];
    const [x, y] = path.centroid(country);
    // Not under the antenna's own mark.
    const clear_y = Math.hypot(x, y) < antenna_room_px ? antenna_room_px : y;
    const { name } = country.properties;
    return is_inside(box_of_text(name, { x, y: clear_y }), place.radius)
      ? [{ name, x, y: clear_y }]
      : [];
  });
  const of_countries = named.map(({ name, x, y }) =>
    svg(doc, "text", { class: "halo", x: coordinate(x), y: coordinate(y) }, name),
  );
  return svg(
    doc,
    "g",
    { class: "names" },
    svg(doc, "g", { class: "country-names" }, ...of_countries),
    places(
      doc,
      land.places,
      (longitude_deg, latitude_deg) => {
        const point = projection([longitude_deg, latitude_deg]);
        return point === null ? null : { x: point[0], y: point[1] };
      },
      place.radius,
      named.map(({ name, x, y }) => box_of_text(name, { x, y })),
    ),
  );
});
