CREATE INDEX work_item ON work (item);
CREATE INDEX state_item ON state (item);
CREATE INDEX certificate_item ON certificate (item);
CREATE INDEX examination_item ON examination (item);
CREATE INDEX defect_item ON defect (item)
