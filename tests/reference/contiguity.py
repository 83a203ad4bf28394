"""Queen contiguity of the polygons of a GeoJSON file as libpysal computes it; shares no code with bractline.

    contiguity.py counties.geojson

Writes a JSON object: for each feature's property `id` the sorted ids of its neighbors.

Two judges must agree before anything is written: libpysal's `Queen`, which compares vertices, and shapely,
which compares the shapes.
"""

import json
import sys
import warnings

import geopandas
import shapely
from libpysal.weights import Queen


def by_vertices(counties):
    weights = Queen.from_dataframe(counties, ids=list(counties["id"]), silence_warnings=True)
    return {own: sorted(near) for own, near in weights.neighbors.items()}


def by_shape(counties):
    ids, shapes = list(counties["id"]), counties.geometry.values
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    neighbors = {own: [] for own in ids}
    for own, near in zip(one, other):
        if own != near:
            neighbors[ids[own]].append(ids[near])
    return {own: sorted(near) for own, near in neighbors.items()}


def main(path):
    warnings.simplefilter("ignore")
    counties = geopandas.read_file(path)
    neighbors = by_vertices(counties)
    differing = [own for own, near in by_shape(counties).items() if near != neighbors[own]]
    if differing:
        raise SystemExit(f"vertices and shapes disagree about {', '.join(differing)}")
    print(json.dumps(neighbors))


if __name__ == "__main__":
    main(*sys.argv[1:])
