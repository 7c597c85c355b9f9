#!/usr/bin/env python3
"""Makes regionprops.json: properties of drawn shapes as scikit-image defines them
(skimage.measure.regionprops: area, centroid, orientation, bbox). Debian's
python3-skimage made the numbers that the test expects.

Usage: python3 regionprops.py > regionprops.json
"""
import json
import numpy as np
from skimage import __version__
from skimage.measure import label, regionprops

yy, xx = np.mgrid[0:80, 0:100]
shapes = {
    'disc': (xx - 40) ** 2 + (yy - 35) ** 2 <= 20 ** 2,
    'ellipse': (((xx - 50) * np.cos(.5) - (yy - 40) * np.sin(.5)) / 30) ** 2 + (((xx - 50) * np.sin(.5) + (yy - 40) * np.cos(.5)) / 10) ** 2 <= 1,
    'bar': (xx >= 20) & (xx < 70) & (yy >= 30) & (yy < 34),
    'slant': (abs((xx - yy) - 10) <= 2) & (xx >= 20) & (xx < 60),
    'ell': ((xx >= 20) & (xx < 28) & (yy >= 10) & (yy < 60)) | ((xx >= 20) & (xx < 60) & (yy >= 52) & (yy < 60)),
}
out = {'skimage': __version__, 'shapes': {}}
for name, mask in shapes.items():
    r = regionprops(label(mask.astype(int)))[0]
    out['shapes'][name] = {
        'pixels': [int(y) * 100 + int(x) for y, x in zip(*np.nonzero(mask))],
        'area': float(r.area), 'centroid_yx': [float(v) for v in r.centroid],
        'orientation_rad': float(r.orientation), 'bbox_y0x0y1x1': [int(v) for v in r.bbox],
    }
json.dump(out, __import__('sys').stdout)
