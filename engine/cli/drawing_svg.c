/* engine/cli/drawing_svg.c: a graph as SVG. */
#include <math.h>
#include <string.h>

#include "engine/cli/drawing.h"

#define NAME_SIZE 13.0 /* pixels of type */
#define DETAIL_SIZE 11.0
#define PORT_SIZE 9.0
#define ADVANCE 0.61  /* of a monospaced letter, in its size */
#define MOST_SHOWN 34 /* letters of a name */
#define SIDE 12.0
#define LEAST_WIDTH 84.0
#define TEXT_HEIGHT 44.0
#define PORT_HEIGHT 13.0
#define TIP 7.0 /* length of an arrow's */

static const char style[] =
    "<style>\n"
    ":root{--paper:#fbf8f3;--box:#fff;--edge:#8d8378;--ink:#211d1a;--soft:#6d635a;--image:#b0562a;"
    "--scene:#2f6b73;--material:#7a5c9e;--texture:#5f7a2e;--well:#cfc7bd}\n"
    "@media (prefers-color-scheme:dark){:root{--paper:#191614;--box:#262220;--edge:#756b61;"
    "--ink:#f2ece4;--soft:#b3a89c;--image:#ee9a63;--scene:#7cc4cc;--material:#c0a4e4;"
    "--texture:#abcc72;--well:#4a443e}}\n"
    "text{font-family:ui-monospace,\"DejaVu Sans "
    "Mono\",Menlo,Consolas,monospace;text-anchor:middle}\n"
    ".paper{fill:var(--paper)}\n"
    ".box{fill:var(--box);stroke:var(--edge)}\n"
    ".idle{stroke-dasharray:4 3}\n"
    ".name{font-size:13px;font-weight:600;fill:var(--ink)}\n"
    ".detail{font-size:11px;fill:var(--soft)}\n"
    ".port{font-size:9px;fill:var(--soft)}\n"
    ".well{fill:var(--well)}\n"
    ".line{fill:none;stroke-width:1.6}\n"
    ".image{stroke:var(--image)}.scene{stroke:var(--scene);stroke-width:2.4}\n"
    ".material{stroke:var(--material);stroke-dasharray:7 3}\n"
    ".texture{stroke:var(--texture);stroke-dasharray:2 3}\n"
    ".tip{stroke:none}.tip.image{fill:var(--image)}.tip.scene{fill:var(--scene)}\n"
    ".tip.material{fill:var(--material)}.tip.texture{fill:var(--texture)}\n"
    "</style>\n";

static const char *const kinds[] = {[LB_KIND_NONE] = "output",
                                    [LB_KIND_IMAGE] = "image",
                                    [LB_KIND_SCENE] = "scene",
                                    [LB_KIND_MATERIAL] = "material",
                                    [LB_KIND_TEXTURE] = "texture"};

static size_t letters(const char *text)
{
    size_t count = 0, at = 0, bytes = strlen(text);

    while (at < bytes) {
        lb_utf8_next(text, bytes, &at);
        count++;
    }
    return count;
}

static void put_escaped(lb_text *out, const char *text, size_t bytes)
{
    for (size_t i = 0; i < bytes; i++) {
        unsigned char c = (unsigned char)text[i];

        if (c == '&')
            lb_text_put(out, "&amp;");
        else if (c == '<')
            lb_text_put(out, "&lt;");
        else if (c == '"')
            lb_text_put(out, "&quot;");
        else if (c >= 32) /* control characters have no place in XML */
            lb_text_add(out, &text[i], 1);
    }
}

/* A text in the middle of a box; long ones lose their middle. */
static void put_label(lb_text *out, const char *class, double x, double y, const char *text)
{
    size_t count = letters(text), bytes = strlen(text), head = 0, tail = 0;

    lb_text_printf(out, "<text class=\"%s\" x=\"%.5g\" y=\"%.5g\">", class, x, y);
    if (count <= MOST_SHOWN) {
        put_escaped(out, text, bytes);
    } else {
        for (int i = 0; i < MOST_SHOWN / 2; i++)
            lb_utf8_next(text, bytes, &head);
        for (size_t i = 0; i + MOST_SHOWN / 2 - 1 < count; i++)
            lb_utf8_next(text, bytes, &tail);
        put_escaped(out, text, head);
        lb_text_put(out, "…");
        put_escaped(out, text + tail, bytes - tail);
    }
    lb_text_put(out, "</text>");
}

static double label_width(const char *text, double size)
{
    size_t count = letters(text);

    return (double)(count < MOST_SHOWN ? count : MOST_SHOWN) * size * ADVANCE;
}

/* Boxes as large as what stands in them. `ports` tells which have names of inputs, `lines` how many
 * lines come into each. */
static void measure(lb_drawing *p, bool *ports, int32_t *lines)
{
    for (int32_t i = 0; i < p->layers.line_count; i++) {
        const lb_drawing_line *line = &p->lines[i];
        int32_t to = p->layers.lines[i].to;

        ports[to] = ports[to] || line->input || line->layer;
        lines[to]++;
    }
    for (int32_t i = 0; i < p->layers.box_count; i++) {
        const lb_drawing_box *box = &p->boxes[i];
        lb_layer_box *size = &p->layers.boxes[i];

        size->is_last = box->node < 0;
        size->width =
            fmax(label_width(box->name, NAME_SIZE), label_width(box->detail, DETAIL_SIZE));
        size->height = TEXT_HEIGHT + (ports[i] ? PORT_HEIGHT : 0);
        if (box->thumbnail) {
            size->width = fmax(size->width, box->thumbnail_width);
            size->height += box->thumbnail_height + SIDE;
        }
        size->width = fmax(size->width, LEAST_WIDTH) + 2 * SIDE;
    }
    /* Names of inputs stand side by side. */
    for (int32_t i = 0; i < p->layers.line_count; i++) {
        const lb_drawing_line *line = &p->lines[i];
        int32_t to = p->layers.lines[i].to;
        lb_layer_box *size = &p->layers.boxes[to];
        double wide = (line->input ? label_width(line->input, PORT_SIZE) : 0) +
                      (line->layer ? label_width(line->layer, PORT_SIZE) + PORT_SIZE : 0);

        if (wide > 0)
            size->width = fmax(size->width, (wide + 8) * (lines[to] + 1));
        size->width = ceil(size->width / 2) * 2;
    }
}

/* Straight through a layer, a curve from one to the next. */
static void put_line(lb_text *out, const lb_drawing *p, int32_t index)
{
    const lb_layer_line *line = &p->layers.lines[index];
    const lb_drawing_line *what = &p->lines[index];
    const lb_layer_pass *last = &line->passes[line->pass_count - 1];

    lb_text_printf(out, "<path class=\"line %s\" d=\"M%.5g %.5gV%.5g", kinds[what->kind],
                   line->passes[0].x, line->passes[0].top, line->passes[0].bottom);
    for (int32_t i = 1; i < line->pass_count; i++) {
        const lb_layer_pass *a = &line->passes[i - 1], *b = &line->passes[i];
        double end = b->bottom - (b == last ? TIP - 2 : 0); /* the tip goes on from there */
        double begin = fmin(b->top, end), middle = (a->bottom + begin) / 2;

        if (a->x != b->x)
            lb_text_printf(out, "C%.5g %.5g %.5g %.5g %.5g %.5g", a->x, middle, b->x, middle, b->x,
                           begin);
        lb_text_printf(out, "V%.5g", end);
    }
    lb_text_put(out, "\"><title>");
    put_escaped(out, p->boxes[line->from].name, strlen(p->boxes[line->from].name));
    if (what->layer) {
        lb_text_put(out, ".");
        put_escaped(out, what->layer, strlen(what->layer));
    }
    lb_text_put(out, " to ");
    put_escaped(out, p->boxes[line->to].name, strlen(p->boxes[line->to].name));
    if (what->input)
        lb_text_printf(out, " as %s", what->input);
    lb_text_printf(out, "</title></path><path class=\"tip %s\" d=\"M%.5g %.5gl-3.5 -%gh7z\"/>\n",
                   kinds[what->kind], last->x, last->bottom, TIP);
}

static void put_port(lb_text *out, const lb_drawing *p, int32_t index)
{
    const lb_layer_line *line = &p->layers.lines[index];
    const lb_drawing_line *what = &p->lines[index];
    const lb_layer_pass *last = &line->passes[line->pass_count - 1];
    lb_text name = {0};

    if (!what->input && !what->layer)
        return;
    lb_text_printf(&name, "%s%s%s", what->input ? what->input : "", what->layer ? "." : "",
                   what->layer ? what->layer : "");
    if (!name.failed)
        put_label(out, "port", last->x, last->bottom + 11, name.bytes);
    out->failed = out->failed || name.failed;
    lb_text_clear(&name);
}

static void put_box(lb_text *out, const lb_drawing *p, int32_t index, bool has_port)
{
    const lb_drawing_box *box = &p->boxes[index];
    const lb_layer_box *at = &p->layers.boxes[index];
    double middle = at->x + at->width / 2, y = at->y + (has_port ? PORT_HEIGHT : 0);

    lb_text_put(out, "<g><title>");
    put_escaped(out, box->name, strlen(box->name));
    lb_text_put(out, ": ");
    if (box->summary)
        put_escaped(out, box->summary, strlen(box->summary));
    else
        put_escaped(out, box->detail, strlen(box->detail));
    if (!box->is_used)
        lb_text_put(out, " (no output needs it)");
    lb_text_printf(out,
                   "</title><rect class=\"box%s\" x=\"%.5g\" y=\"%.5g\" width=\"%.5g\" "
                   "height=\"%.5g\" rx=\"2\"/>",
                   box->is_used ? "" : " idle", at->x, at->y, at->width, at->height);
    if (box->node < 0)
        lb_text_printf(out,
                       "<rect class=\"box\" x=\"%.5g\" y=\"%.5g\" width=\"%.5g\" "
                       "height=\"%.5g\"/>",
                       at->x + 3, at->y + 3, at->width - 6, at->height - 6);
    put_label(out, "name", middle, y + 19, box->name);
    put_label(out, "detail", middle, y + 35, box->detail);
    if (box->thumbnail) {
        double x = middle - box->thumbnail_width / 2.0;

        lb_text_printf(out,
                       "<rect class=\"well\" x=\"%.5g\" y=\"%.5g\" width=\"%d\" height=\"%d\"/>"
                       "<image x=\"%.5g\" y=\"%.5g\" width=\"%d\" height=\"%d\" "
                       "href=\"data:image/png;base64,",
                       x, y + TEXT_HEIGHT, (int)box->thumbnail_width, (int)box->thumbnail_height, x,
                       y + TEXT_HEIGHT, (int)box->thumbnail_width, (int)box->thumbnail_height);
        lb_text_put(out, box->thumbnail);
        lb_text_put(out, "\"/>");
    }
    lb_text_put(out, "</g>\n");
}

/* Which line is which kind of thing. */
static void put_legend(lb_text *out, const lb_drawing *p, double y)
{
    double x = 24;

    for (int kind = LB_KIND_IMAGE; kind <= LB_KIND_TEXTURE; kind++) {
        bool is_there = false;

        for (int32_t i = 0; i < p->layers.line_count && !is_there; i++)
            is_there = p->lines[i].kind == (lb_kind)kind;
        if (!is_there)
            continue;
        lb_text_printf(out,
                       "<path class=\"line %s\" d=\"M%.5g %.5gh26\"/>"
                       "<text class=\"detail\" style=\"text-anchor:start\" x=\"%.5g\" y=\"%.5g\">%s"
                       "</text>\n",
                       kinds[kind], x, y, x + 32, y + 4, kinds[kind]);
        x += 44 + label_width(kinds[kind], DETAIL_SIZE) + 14;
    }
}

lb_status lb_drawing_svg(lb_drawing *drawing, lb_text *out)
{
    size_t boxes = (size_t)drawing->layers.box_count + 1;
    bool *ports = lb_arena_alloc(drawing->arena, boxes, sizeof *ports);
    int32_t *lines = lb_arena_alloc(drawing->arena, boxes, sizeof *lines);
    const char *name = drawing->graph->file ? drawing->graph->file : "";
    const char *slash = strrchr(name, '/');
    lb_status status;
    double height;

    if (!ports || !lines)
        return LB_MEMORY;
    measure(drawing, ports, lines);
    if ((status = lb_layers_place(&drawing->layers, drawing->arena)) != LB_OK)
        return status;
    height = drawing->layers.height + 24;
    lb_text_printf(out,
                   "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%.6g\" height=\"%.6g\" "
                   "viewBox=\"0 0 %.6g %.6g\" role=\"img\">\n<title>",
                   fmax(drawing->layers.width, 420), height, fmax(drawing->layers.width, 420),
                   height);
    put_escaped(out, slash ? slash + 1 : name, strlen(slash ? slash + 1 : name));
    lb_text_put(out, "</title>\n");
    lb_text_put(out, style);
    lb_text_put(out, "<rect class=\"paper\" width=\"100%\" height=\"100%\"/>\n");
    for (int32_t i = 0; i < drawing->layers.line_count; i++)
        put_line(out, drawing, i);
    for (int32_t i = 0; i < drawing->layers.box_count; i++)
        put_box(out, drawing, i, ports[i]);
    for (int32_t i = 0; i < drawing->layers.line_count; i++)
        put_port(out, drawing, i);
    put_legend(out, drawing, height - 18);
    lb_text_put(out, "</svg>\n");
    return out->failed ? LB_MEMORY : LB_OK;
}
