-- measure: calcification_retrieval
-- kind: proportion
-- title: Calcifications retrieved
-- question: How often did the specimen radiograph show the calcifications that were the target?
-- group: specimens
-- unit: procedure (one target, one visit); cluster: the patient
-- numerator: a specimen read as yes for calcifications
-- denominator: sampled procedures of calcifications with a specimen radiograph read
-- exclusions: not sampled (status not completed); not calcifications (finding type is another); specimens not
--     imaged (no specimen was read as yes or no)
-- window: none
-- interval: wilson
-- direction: higher
-- source: common practice
SELECT
    procedure_id,
    started_on AS index_date,
    CASE
        WHEN NOT is_sampled THEN 'not sampled'
        WHEN finding_type <> 'calcifications' THEN 'not calcifications'
        WHEN NOT is_radiograph_read THEN 'specimens not imaged'
    END AS excluded_because,
    is_calcification_seen AS in_numerator
FROM procedure_facts
WHERE started_on <= CAST($as_of AS DATE)
