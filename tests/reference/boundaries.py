"""Counties as shapely sees them, from GeoJSON or TopoJSON; shares no code with bractline."""

import json

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon, shape


class Counties:
    """The counties of a region in the order of their ids: the lowest index is the lowest id."""

    def __init__(self, counties):
        counties = sorted(counties, key=lambda county: county[0])
        self.ids = [county_id for county_id, _, _ in counties]
        self.names = {county_id: name for county_id, name, _ in counties}
        self.tree = shapely.STRtree([geometry for _, _, geometry in counties])
        if len(self.names) != len(counties):
            raise ValueError("a county id appears twice in the boundary file")

    def locate(self, longitudes, latitudes):
        """The id of the county of each point, None outside all of them.

        A point on a border intersects every county that meets there and gets the lowest id.
        """
        points = shapely.points(np.asarray(longitudes, float), np.asarray(latitudes, float))
        found = [None] * len(points)
        for point, county in zip(*self.tree.query(points, predicate="intersects")):
            if found[point] is None or county < found[point]:
                found[point] = county
        return [None if county is None else self.ids[county] for county in found]


def read_counties(path, states=None, id_property=None, name_property="name", layer="counties"):
    """Reads a boundary file. `states` keeps ids that begin with one of these codes.

    Without `id_property` the id of the feature itself counts. `layer` names the object of a
    TopoJSON file that has several.
    """
    with open(path, encoding="utf-8") as file:
        document = json.load(file)
    if document["type"] == "Topology":
        features = topology_features(document, layer)
    else:
        features = [(feature, shape(feature["geometry"])) for feature in document["features"]]
    counties = []
    for feature, geometry in features:
        properties = feature.get("properties") or {}
        county_id = str(properties[id_property] if id_property else feature["id"])
        if states is None or county_id[:2] in states:
            counties.append((county_id, properties.get(name_property, ""), geometry))
    if not counties:
        raise ValueError(f"no county in {path}")
    return Counties(counties)


def topology_features(topology, layer):
    """Pairs of feature and geometry out of TopoJSON: arcs are shared, quantized and summed up."""
    objects = topology["objects"]
    if len(objects) == 1:
        [layer] = objects
    collection = objects[layer]
    arcs = [np.asarray(arc, float) for arc in topology["arcs"]]
    if "transform" in topology:
        scale = np.asarray(topology["transform"]["scale"])
        translate = np.asarray(topology["transform"]["translate"])
        arcs = [np.cumsum(arc, axis=0) * scale + translate for arc in arcs]

    def ring(indexes):
        points = []
        for index in indexes:
            # ~i means arc i backwards; an arc begins where the one before it ended.
            arc = arcs[index] if index >= 0 else arcs[~index][::-1]
            points.extend(arc if not points else arc[1:])
        return points

    def polygons(list_of_rings):
        # Quantizing lets the smallest islands collapse to rings without an inside: no point there.
        for outside, *holes in ([ring(indexes) for indexes in rings] for rings in list_of_rings):
            if len(outside) >= 4:
                yield Polygon(outside, [hole for hole in holes if len(hole) >= 4])

    for feature in collection["geometries"]:
        if feature["type"] == "Polygon":
            yield feature, MultiPolygon(list(polygons([feature["arcs"]])))
        elif feature["type"] == "MultiPolygon":
            yield feature, MultiPolygon(list(polygons(feature["arcs"])))
