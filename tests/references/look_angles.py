"""Published and cross-computed directions of satellites.

WORKED: azimuth, elevation and range of a geostationary satellite at 100.0 W on a circle of 42 164.2 km, on WGS84.
Computed with pymap3d 3.2.0 and with skyfield 1.55, which agree to all digits shown.

SPHERE: the same directions on a sphere of 6378.137 km by the closed form (central angle), as printed in any textbook
of satellite communications.

ELLIPTICAL: directions of an invented 24-h elliptical satellite from 40.0 N 100.0 W, computed with skyfield 1.55.
"""

RADIUS_KM = 42164.2
SATELLITE_LONGITUDE_DEG = -100.0

# (latitude_deg, longitude_deg, height_m, azimuth_deg, elevation_deg, range_km)
WORKED = (
    (40.0, -75.0, 0.0, 215.9822, 37.0596, 38005.933),
    (47.6, -122.3, 50.0, 150.9347, 31.1911, 38499.118),
    (25.8, -80.2, 2.0, 219.6248, 52.6484, 36912.656),
    (39.74, -104.98, 1609.0, 172.2324, 43.7544, 37492.862),
    (64.8, -147.7, 136.0, 129.4476, 8.0637, 40788.800),
)

SPHERE_RADIUS_KM = 6378.137
# (latitude_deg, longitude_deg, azimuth_deg, elevation_deg, range_km)
SPHERE = (
    (40.0, -75.0, 215.9589, 37.0335, 38014.215),
    (47.6, -122.3, 150.9527, 31.1620, 38509.041),
    (25.8, -80.2, 219.5975, 52.6287, 36917.269),
    (39.74, -104.98, 172.2384, 43.7246, 37502.984),
    (64.8, -147.7, 129.4656, 8.0375, 40796.747),
)

# Largest difference between the sphere of 6378.137 km and WGS84 on a 1 deg grid, |latitude| <= 75, elevation >= 5.
SPHERE_ELEVATION_ERROR_DEG = 0.0335
SPHERE_RANGE_ERROR_KM = 11.35

# Site of the first row of WORKED, Earth-fixed, km: pyproj 3.7.2, EPSG:4979 to EPSG:4978.
SITE_KM = (1266.325909, -4725.992631, 4077.985572)

# Three invented satellites on one ground track (eccentricity 0.2684, inclination 63.4 deg, 24 h), and one close to
# the geostationary circle. Written with sgp4 2.27, sgp4.exporter.export_tle.
TLE = """\
HIGH-A
1 90001U 26001A   26001.00000000  .00000000  00000-0  00000+0 0    11
2 90001  63.4000 274.6609 2684000 270.0000 180.0000  1.00273791    18
HIGH-B
1 90002U 26001B   26001.00000000  .00000000  00000-0  00000+0 0    12
2 90002  63.4000  34.6609 2684000 270.0000  60.0000  1.00273791    10
HIGH-C
1 90003U 26001C   26001.00000000  .00000000  00000-0  00000+0 0    13
2 90003  63.4000 154.6609 2684000 270.0000 300.0000  1.00273791    11
FLAT
1 90010U 26002A   26001.00000000  .00000000  00000-0  00000+0 0    12
2 90010   0.0500   0.0000 0001000   0.0000   0.6609  1.00273791    10
"""

# Greenwich mean sidereal time of 2026-01-01 00:00 UTC: skyfield 1.55, theta_GMST1982.
GMST_2026_DEG = 100.660859

# HIGH-A from 40.0 N 100.0 W, height 0: (UTC, azimuth_deg, elevation_deg, range_km)
ELLIPTICAL = (
    ("2026-01-01T00:00", 4.473, 63.346, 47687.08),
    ("2026-01-01T04:00", 29.568, 83.451, 43303.29),
    ("2026-01-01T08:00", 217.667, 35.793, 35086.06),
    ("2026-01-01T12:00", 177.645, -24.365, 32940.52),
)

# FLAT over 24 h from 40 N 75 W: lowest and highest elevation and azimuth, skyfield 1.55.
FLAT_ELEVATION_DEG = (36.985, 37.143)
FLAT_AZIMUTH_DEG = (215.933, 216.008)
