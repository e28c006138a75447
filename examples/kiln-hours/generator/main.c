/* examples/kiln-hours/generator/main.c: writes the scene and the maps of the "Kiln Hours" titles.
 *
 *   kiln-hours-generator FOLDER
 *
 * The same bytes every time, on every machine: all chance is hashed from fixed numbers, all
 * elementary functions are the engine's own. */
#include "maps.h"
#include "motion.h"

#include <stdio.h>
#include <stdlib.h>

static materials make_materials(glb *g)
{
    materials m;
    picture heat = heat_map();
    size_t bytes;
    uint8_t *png = picture_png(&heat, 8, 0, 1, &bytes);
    int glow = glb_image(g, "heat", png, bytes);
    const char *plain = "\"pbrMetallicRoughness\":{\"baseColorFactor\":[%g,%g,%g,1],"
                        "\"metallicFactor\":0,\"roughnessFactor\":%g}";
    const char *hot =
        "\"pbrMetallicRoughness\":{\"baseColorFactor\":[%g,%g,%g,1],"
        "\"metallicFactor\":0,\"roughnessFactor\":0.9},"
        "\"emissiveTexture\":{\"index\":%d},\"emissiveFactor\":[1,1,1],"
        "\"extensions\":{\"KHR_materials_emissive_strength\":{\"emissiveStrength\":%g}}";

    m.brick = glb_material(g, "brick", plain, 0.4, 0.2, 0.13, 0.9);
    m.mortar = glb_material(g, "mortar", plain, 0.4, 0.36, 0.3, 1.0);
    m.ground = glb_material(g, "ground", plain, 0.3, 0.26, 0.22, 0.9);
    m.wood = glb_material(g, "wood", plain, 0.4, 0.33, 0.26, 0.7);
    m.wheel = glb_material(g, "wheel", plain, 0.6, 0.55, 0.5, 0.4);
    m.pot = glb_material(g, "pot", plain, 0.6, 0.48, 0.36, 0.4);
    m.plaque = glb_material(g, "plaque", plain, 0.5, 0.5, 0.5, 0.5); /* its maps got lost */
    m.cord = glb_material(g, "cord", plain, 0.35, 0.26, 0.16, 0.9);
    m.hot = glb_material(g, "hot", hot, 0.15, 0.08, 0.045, glow, 3.0);
    m.coal = glb_material(g, "coal", hot, 0.04, 0.035, 0.03, glow, 4.5);
    /* a black body of 1500 K */
    m.ember = glb_material(g, "ember",
                           "\"pbrMetallicRoughness\":{\"baseColorFactor\":[0.02,0.02,0.02,1]},"
                           "\"emissiveFactor\":[1,0.24,0.03],\"extensions\":"
                           "{\"KHR_materials_emissive_strength\":{\"emissiveStrength\":14}}");
    free(png);
    picture_free(&heat);
    return m;
}

int main(int count, char **arguments)
{
    char path[1024];

    if (count != 2)
        give_up("usage: kiln-hours-generator FOLDER");
    if (snprintf(path, sizeof path, "%s/kiln.glb", arguments[1]) >= (int)sizeof path)
        give_up("the folder's name is too long");
    glb *g = glb_new();
    materials m = make_materials(g);
    make_camera_and_lights(g);
    make_kiln(g, &m);
    make_chamber(g, &m);
    make_room(g, &m);
    make_pots(g, &m);
    make_plaque(g, &m);
    make_embers(g, &m);
    printf("%s: %zu triangles\n", path, glb_triangles(g));
    glb_write(&g, path);
    write_maps(arguments[1]);
    return 0;
}
