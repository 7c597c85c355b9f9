package target
func (s *scene) ruler() (Found, error) {return Found{},nil}
func (s *scene) disc() (Found, error) {return Found{},nil}
