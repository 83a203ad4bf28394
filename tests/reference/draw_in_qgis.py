"""Opens a published map in QGIS with the style beside it, draws it, and says what came out.

draw_in_qgis.py GEOJSON PICTURE     run with the Python of Debian's python3-qgis

Prints JSON: the features, whether the style was taken, the protocols that it names, how many features each rule of
the protocol that is switched on drew, the fields of time, and the color of the picture at the middle of each county.
"""

import json
import os
import sys

os.environ["QT_QPA_PLATFORM"] = "offscreen"
os.environ.setdefault("XDG_RUNTIME_DIR", "/tmp")

from qgis.core import QgsApplication, QgsExpression, QgsExpressionContext, QgsExpressionContextUtils  # noqa: E402
from qgis.core import QgsMapRendererSequentialJob, QgsMapSettings, QgsRectangle, QgsVectorLayer  # noqa: E402
from qgis.PyQt.QtCore import QSize  # noqa: E402
from qgis.PyQt.QtGui import QColor  # noqa: E402


def main(path, picture):
    # A layer takes the .qml beside its data when it is opened, as a user's does.
    layer = QgsVectorLayer(path, "counties", "ogr")
    assert layer.isValid(), layer.error().message()
    features = list(layer.getFeatures())
    assert all(feature.geometry().isGeosValid() for feature in features)
    groups = layer.renderer().rootRule().children() if layer.renderer().type() == "RuleRenderer" else []
    active = [group for group in groups if group.active()]
    rules = [rule for group in active for rule in group.children()]
    fits = lambda rule, context: QgsExpression(rule.filterExpression()).evaluate(context)
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    drawn = {}
    of_feature = {}
    for feature in features:
        context.setFeature(feature)
        fitting = [rule.label() for group in active if fits(group, context) for rule in group.children() if fits(rule, context)]
        of_feature[feature["county_id"]] = fitting
        for label in fitting:
            drawn[label] = drawn.get(label, 0) + 1

    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setOutputSize(QSize(900, 700))
    settings.setBackgroundColor(QColor("white"))
    extent = QgsRectangle(layer.extent())
    extent.scale(1.05)
    settings.setExtent(extent)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    assert image.save(picture), picture
    colors = {}
    to_pixel = settings.mapToPixel()
    for feature in features:
        place = to_pixel.transform(feature.geometry().pointOnSurface().asPoint())
        colors[feature["county_id"]] = image.pixelColor(round(place.x()), round(place.y())).name()
    time = layer.temporalProperties()
    print(
        json.dumps(
            {
                "features": len(features),
                "renderer": layer.renderer().type(),
                "protocols": [[group.label(), group.active()] for group in groups],
                "rules": len(rules),
                "drawn": drawn,
                "classes": of_feature,
                "colors": colors,
                "time": [time.startField(), time.endField()],
            }
        )
    )
    del layer, job, settings


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    application = QgsApplication([], False)
    QgsApplication.initQgis()
    main(*sys.argv[1:])
    application.exitQgis()
