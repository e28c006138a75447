/* engine/scene/fbx_camera.c: cameras. Properties, modes and defaults are common practice, from
 * memory. Film is in inches, focal lengths in millimetres, angles in degrees. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/scene/fbx_read.h"

#define MM_PER_INCH 25.4
#define DEGREE (LB_PI / 180)

enum { BOTH, HORIZONTAL, VERTICAL, FOCAL_LENGTH }; /* ApertureMode */
enum { FIT_NONE, FIT_VERTICAL, FIT_HORIZONTAL, FIT_FILL, FIT_OVERSCAN, FIT_STRETCH }; /* GateFit */

/* The picture that the camera is meant for: width over height. */
static double read_aspect(fbx *g, const fbx_object *object)
{
    double width = 320, height = 200, pixel = 1;
    fbx_origin origin = fbx_numbers(g, object, "AspectWidth", 1, &width);
    char where[FBX_WHERE];

    if (fbx_numbers(g, object, "AspectHeight", 1, &height) > origin)
        origin = FBX_FORMAT;
    (void)fbx_numbers(g, object, "PixelAspectRatio", 1, &pixel);
    if (!(width > 0 && height > 0 && pixel > 0)) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "AspectWidth"),
                 "%g by %g is no shape of a picture: square.", width, height);
        return 1;
    }
    fbx_origin_fact(g, object, "AspectWidth", origin, "a picture of %g by %g, pixels of %g", width,
                    height, pixel);
    return width * pixel / height;
}

/* Half the film, in inches. */
typedef struct {
    double x, y;
    fbx_origin origin;
} film;

static film read_film(fbx *g, const fbx_object *object)
{
    double width = 0.816, height = 0.612, squeeze = 1;
    film out = {.origin = fbx_numbers(g, object, "FilmWidth", 1, &width)};
    fbx_origin other = fbx_numbers(g, object, "FilmHeight", 1, &height);
    char where[FBX_WHERE];

    (void)fbx_numbers(g, object, "FilmSqueezeRatio", 1, &squeeze);
    out.origin = other > out.origin ? other : out.origin;
    if (!(width > 0 && height > 0 && squeeze > 0)) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "FilmWidth"),
                 "%g by %g inches is no film: 0.816 by 0.612.", width, height);
        width = 0.816;
        height = 0.612;
        squeeze = 1;
    }
    out.x = width * squeeze / 2;
    out.y = height / 2;
    return out;
}

static bool is_angle(double degrees)
{
    return degrees > 0 && degrees < 180;
}

/* The tangents of half the film's angles. */
typedef struct {
    double x, y;
} halves;

static halves from_focal_length(fbx *g, const fbx_object *object, const film *f)
{
    double length = 34.89327;
    fbx_origin origin = fbx_numbers(g, object, "FocalLength", 1, &length);
    char where[FBX_WHERE];

    if (!(length > 0)) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "FocalLength"),
                 "%g mm is no focal length: 35.", length);
        length = 35;
    }
    fbx_origin_fact(g, object, "FocalLength", origin, "%g mm", length);
    fbx_origin_fact(g, object, "FilmWidth", f->origin, "film of %.6g by %.6g inches", 2 * f->x,
                    2 * f->y);
    fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "FocalLength"),
             "The angle is 2 atan(film / (2 x focal length)).");
    return (halves){f->x * MM_PER_INCH / length, f->y * MM_PER_INCH / length};
}

static halves from_angle(fbx *g, const fbx_object *object, int64_t mode, const film *f)
{
    double angle = 25.114999771118164;
    fbx_origin origin = fbx_numbers(g, object, "FieldOfView", 1, &angle);
    char where[FBX_WHERE];
    halves out;

    if (!is_angle(angle)) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "FieldOfView"),
                 "%g degrees is no angle of view: 40.", angle);
        angle = 40;
    }
    fbx_origin_fact(g, object, "FieldOfView", origin, "%g degrees, %s", angle,
                    mode == HORIZONTAL ? "horizontal" : "vertical");
    out.x = out.y = lb_tan(angle * DEGREE / 2);
    if (mode == HORIZONTAL)
        out.y = out.x * f->y / f->x;
    else
        out.x = out.y * f->x / f->y;
    return out;
}

static halves from_angles(fbx *g, const fbx_object *object)
{
    double x = 40, y = 40;
    fbx_origin origin = fbx_numbers(g, object, "FieldOfViewX", 1, &x);
    char where[FBX_WHERE];

    if (fbx_numbers(g, object, "FieldOfViewY", 1, &y) > origin)
        origin = FBX_FORMAT;
    if (!is_angle(x) || !is_angle(y)) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "FieldOfViewX"),
                 "%g and %g degrees are no angles of view: 40.", x, y);
        x = y = 40;
    }
    fbx_origin_fact(g, object, "FieldOfViewX", origin, "%g degrees across and %g up", x, y);
    return (halves){lb_tan(x * DEGREE / 2), lb_tan(y * DEGREE / 2)};
}

/* How the film lies in the picture. Answers the tangent of half the picture's height. */
static double fit(fbx *g, const fbx_object *object, const halves *h, double aspect)
{
    int64_t mode = FIT_NONE;
    fbx_origin origin = fbx_integer(g, object, "GateFit", &mode);
    bool by_width, is_wide = h->x / h->y > aspect; /* the film is wider than the picture */
    char where[FBX_WHERE];

    by_width = mode == FIT_HORIZONTAL || (mode == FIT_FILL && !is_wide) ||
               (mode == FIT_OVERSCAN && is_wide);
    fbx_origin_fact(g, object, "GateFit", origin, "the film's %s fills the picture's",
                    by_width ? "width" : "height");
    if (mode == FIT_STRETCH)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, "GateFit"),
                 "The film is not stretched to the picture.");
    return by_width ? h->x / aspect : h->y;
}

static void read_perspective(fbx *g, const fbx_object *object, lb_camera *out)
{
    film f = read_film(g, object);
    int64_t mode = VERTICAL;
    fbx_origin origin = fbx_integer(g, object, "ApertureMode", &mode);
    char where[FBX_WHERE];
    halves h;

    fbx_origin_fact(g, object, "ApertureMode", origin, "the angle of view is given by %s",
                    mode == BOTH           ? "FieldOfViewX and FieldOfViewY"
                    : mode == HORIZONTAL   ? "FieldOfView, across"
                    : mode == FOCAL_LENGTH ? "FocalLength and film"
                                           : "FieldOfView, up");
    if (mode == FOCAL_LENGTH)
        h = from_focal_length(g, object, &f);
    else if (mode == BOTH)
        h = from_angles(g, object);
    else
        h = from_angle(g, object, mode, &f);
    out->yfov_rad = 2 * lb_atan(fit(g, object, &h, out->aspect));
    fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "FieldOfView"),
             "The vertical angle is %.6g degrees.", out->yfov_rad / DEGREE);
}

/* OrthoZoom 1 shows 30 units across: from memory, unverified. */
static void read_orthographic(fbx *g, const fbx_object *object, lb_camera *out)
{
    double zoom = 1;
    fbx_origin origin = fbx_numbers(g, object, "OrthoZoom", 1, &zoom);
    char where[FBX_WHERE];

    out->orthographic = true;
    zoom = zoom > 0 ? zoom : 1;
    fbx_origin_fact(g, object, "OrthoZoom", origin, "%g", zoom);
    out->xmag = 15 * zoom * g->unit;
    out->ymag = out->xmag / out->aspect;
    fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "OrthoZoom"),
             "30 units of the file across for 1, which files do not say.");
}

static void read_planes(fbx *g, const fbx_object *object, lb_camera *out)
{
    double near = 10, far = 4000;
    fbx_origin origin = fbx_numbers(g, object, "NearPlane", 1, &near);
    char where[FBX_WHERE];
    int64_t by_itself = 0;

    fbx_origin_fact(g, object, "NearPlane", origin, "%g units", near);
    origin = fbx_numbers(g, object, "FarPlane", 1, &far);
    fbx_origin_fact(g, object, "FarPlane", origin, "%g units", far);
    fbx_where(where, object, "NearPlane");
    if (fbx_integer(g, object, "AutoComputeClipPanes", &by_itself) == FBX_AUTHORED && by_itself)
        fbx_fact(g, LB_FACT_DROPPED, where,
                 "The file asks for planes that fit what is seen; its numbers are used.");
    if (!(near > 0) && !out->orthographic) {
        fbx_fact(g, LB_FACT_CONVERTED, where, "%g is not in front of the camera: 0.001 units.",
                 near);
        near = 0.001;
    }
    out->near = fmax(near, 0) * g->unit;
    out->far = far * g->unit;
    if (!(out->far > out->near)) {
        out->far = INFINITY;
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "FarPlane"),
                 "%g is not beyond the near plane %g: nothing is cut off behind.", far, near);
    }
}

void fbx_camera_read(fbx *g, const fbx_object *object, lb_camera *out)
{
    static const char *const unused[] = {"Roll", "FilmOffsetX", "FilmOffsetY", "OpticalCenterX",
                                         "OpticalCenterY"};
    int64_t projection = 0;
    char where[FBX_WHERE];

    *out = (lb_camera){.aspect = read_aspect(g, object)};
    (void)fbx_integer(g, object, "CameraProjectionType", &projection);
    if (projection == 1)
        read_orthographic(g, object, out);
    else
        read_perspective(g, object, out);
    read_planes(g, object, out);
    for (size_t i = 0; i < sizeof unused / sizeof unused[0]; i++) {
        double value = 0;

        if (fbx_numbers(g, object, unused[i], 1, &value) == FBX_AUTHORED && value != 0)
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, unused[i]), "%g is not used.",
                     value);
    }
}
