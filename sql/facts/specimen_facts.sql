-- facts: specimen_facts
-- grain: one row per procedure with a specimen
-- title: What the readers saw in the specimens, and their mass
WITH container AS (
    SELECT
        procedure_id,
        mass_g,
        calcifications_seen,
        CASE
            WHEN coalesce(CAST(read_at AS DATE), CAST(scan_at AS DATE)) > CAST($as_of AS DATE) THEN NULL
            ELSE uptake_seen
        END AS uptake_seen
    FROM scope_specimens
)

SELECT
    procedure_id,
    coalesce(bool_or(uptake_seen IN ('yes', 'no', 'equivocal')), FALSE) AS is_uptake_read,
    coalesce(bool_or(uptake_seen = 'yes'), FALSE) AS is_uptake_seen,
    coalesce(bool_or(calcifications_seen IN ('yes', 'no')), FALSE) AS is_radiograph_read,
    coalesce(bool_or(calcifications_seen = 'yes'), FALSE) AS is_calcification_seen,
    count(*) AS containers,
    CASE WHEN count(*) = count(mass_g) THEN sum(mass_g) END AS tissue_mass_g
FROM container
GROUP BY procedure_id
